//! The catalogue of this library: the built-in one with the library's own additions.

use rusqlite::params;
use serde::Serialize;

use super::write::Writer;
use super::write::checks::{check_author, check_id};
use super::{Author, Library, StoreError, WriteError};
use crate::catalogue::Catalogue;

const FILES: &str = "SELECT name, toml FROM catalogue_files ORDER BY name";

/// A version of one of the library's own catalogue files.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CatalogueVersion {
    /// The file's name.
    pub name: String,
    /// From 1; the last one is in use.
    pub version: i64,
    /// Its text; `None`: the file was taken out.
    pub toml: Option<String>,
    /// When it was stored, UTC.
    pub at: String,
    /// Who stored it, if that was said.
    pub by: Option<Author>,
}

/// The built-in catalogue with these additions.
fn with_files(files: &[(String, String)]) -> Result<Catalogue, StoreError> {
    let add = |catalogue: Catalogue, (name, text): &(String, String)| {
        catalogue.with_extra(name, text).map_err(StoreError::Catalogue)
    };
    files.iter().try_fold(Catalogue::builtin().clone(), add)
}

impl Library {
    /// The built-in catalogue with this library's own faults and drills.
    ///
    /// # Errors
    /// [`StoreError::Catalogue`] if a stored addition no longer fits the built-in catalogue.
    pub fn catalogue(&self) -> Result<Catalogue, StoreError> {
        let files = self.catalogue_files()?;
        Ok(with_files(&files)?.with_foreign_names(self.received_names()?))
    }

    /// The catalogue as it would be with `toml` as the file `name`, in the place of what that file
    /// holds now.
    ///
    /// # Errors
    /// [`StoreError::Catalogue`] with place, rule, what was found and what to do.
    pub fn catalogue_with(&self, name: &str, toml: &str) -> Result<Catalogue, StoreError> {
        let mut files = self.catalogue_files()?;
        files.retain(|(known, _)| known != name);
        files.push((name.to_owned(), toml.to_owned()));
        files.sort();
        with_files(&files)
    }

    /// The additions as stored: name and TOML text, by name.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn catalogue_files(&self) -> Result<Vec<(String, String)>, StoreError> {
        self.list("reading the catalogue", FILES, [], |row| Ok((row.get(0)?, row.get(1)?)))
    }

    /// Every version of the library's own files, by name and version.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn catalogue_versions(&self) -> Result<Vec<CatalogueVersion>, StoreError> {
        self.list(
            "reading versions of the catalogue",
            "SELECT name, version, toml, at, said_by FROM catalogue_versions
             ORDER BY name, version",
            [],
            |row| {
                let by: Option<String> = row.get(4)?;
                Ok(CatalogueVersion {
                    name: row.get(0)?,
                    version: row.get(1)?,
                    toml: row.get(2)?,
                    at: row.get(3)?,
                    by: by.as_deref().map(Author::from_text),
                })
            },
        )
    }

    /// The TOML of a fault or drill as it came in a pack, the one made last, with the academy's name;
    /// `None` where none came.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn received_entry(&self, id: &str) -> Result<Option<(String, Option<String>)>, StoreError> {
        let found = self.list(
            "reading received faults and drills",
            "SELECT n.toml, p.academy FROM received_names n JOIN packs_received p ON p.id = n.pack
             WHERE n.id = ?1 AND n.toml IS NOT NULL ORDER BY p.made DESC, p.id DESC LIMIT 1",
            [id],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
        Ok(found.into_iter().next())
    }

    /// Changes whenever names in the catalogue may have changed.
    pub(crate) fn catalogue_fingerprint(&self) -> Result<String, StoreError> {
        let mut text = String::new();
        let builtin = Catalogue::builtin();
        for (id, name) in builtin
            .faults()
            .map(|fault| (&fault.id, &fault.name))
            .chain(builtin.drills().map(|drill| (&drill.id, &drill.name)))
        {
            text.push_str(id);
            text.push('\t');
            text.push_str(name);
            text.push('\n');
        }
        for (name, toml) in self.catalogue_files()? {
            text.push_str(&name);
            text.push('\n');
            text.push_str(&toml);
        }
        Ok(text)
    }
}

impl Writer<'_> {
    /// The faults and drills that rules are held against within a change: the built-in catalogue
    /// with this library's own; names from elsewhere are not among them.
    ///
    /// # Errors
    /// As [`Library::catalogue`].
    pub(crate) fn rules(&self) -> Result<Catalogue, StoreError> {
        let files: Vec<(String, String)> = self.run("reading the catalogue", || {
            self.db
                .prepare_cached(FILES)?
                .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?
                .collect()
        })?;
        with_files(&files)
    }

    /// Stores (or with `None` removes) an addition to the catalogue under a name of its own; what it
    /// was stays as an earlier version.
    ///
    /// # Errors
    /// [`StoreError::Catalogue`] if the catalogue with this addition would break a rule;
    /// [`WriteError::Invalid`] if a label or plan names a fault or drill that would be gone.
    pub fn set_catalogue_file(
        &mut self,
        name: &str,
        toml: Option<&str>,
        by: Option<&Author>,
    ) -> Result<(), WriteError> {
        check_id("catalogue", name)?;
        if let Some(by) = by {
            check_author(by)?;
        }
        let before = self.rules()?;
        let mut files: Vec<(String, String)> = self.run("reading the catalogue", || {
            self.db
                .prepare_cached("SELECT name, toml FROM catalogue_files WHERE name <> ?1")?
                .query_map([name], |row| Ok((row.get(0)?, row.get(1)?)))?
                .collect()
        })?;
        files.extend(toml.map(|toml| (name.to_owned(), toml.to_owned())));
        files.sort();
        self.check_named(&before, &with_files(&files)?)?;
        self.run("keeping a version of the catalogue", || {
            self.db.execute(
                "INSERT INTO catalogue_versions (name, version, toml, at, said_by)
                 SELECT ?1, 1 + coalesce(max(version), 0), ?2, ?3, ?4
                 FROM catalogue_versions WHERE name = ?1",
                params![name, toml, jiff::Timestamp::now().to_string(), by.map(Author::as_str)],
            )
        })?;
        self.run("storing the catalogue", || match toml {
            Some(toml) => self
                .db
                .execute("INSERT OR REPLACE INTO catalogue_files VALUES (?1, ?2)", [name, toml]),
            None => self.db.execute("DELETE FROM catalogue_files WHERE name = ?1", [name]),
        })?;
        Ok(())
    }

    /// Refuses a catalogue without a fault or drill that a label or plan of the library names.
    fn check_named(&self, before: &Catalogue, after: &Catalogue) -> Result<(), WriteError> {
        let faults = before.faults().map(|fault| &fault.id);
        let faults = faults.filter(|id| after.fault(id).is_none()).map(|id| {
            let named = "SELECT (SELECT count(*) FROM labels WHERE fault = ?1)
                + (SELECT count(*) FROM plans WHERE limiting_fault = ?1)";
            (id, named)
        });
        let drills = before.drills().map(|drill| &drill.id);
        let drills = drills
            .filter(|id| after.drill(id).is_none())
            .map(|id| (id, "SELECT count(*) FROM plan_drills WHERE drill = ?1"));
        for (id, named) in faults.chain(drills) {
            let times: i64 = self.run("looking for what names an entry", || {
                self.db.query_row(named, [id], |row| row.get(0))
            })?;
            if times > 0 {
                let rule = format!(
                    "what labels and plans name stays, and it is named {times} times here; keep it \
                     in the file, changed if need be"
                );
                return Err(WriteError::Invalid {
                    field: "catalogue",
                    found: format!("'{id}' gone"),
                    rule,
                });
            }
        }
        Ok(())
    }
}
