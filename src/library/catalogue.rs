//! The catalogue of this library: the built-in one with the library's own additions.

use super::write::Writer;
use super::{Library, StoreError, WriteError};
use crate::catalogue::Catalogue;

const FILES: &str = "SELECT name, toml FROM catalogue_files ORDER BY name";

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

    /// The additions as stored: name and TOML text, by name.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn catalogue_files(&self) -> Result<Vec<(String, String)>, StoreError> {
        self.list("reading the catalogue", FILES, [], |row| Ok((row.get(0)?, row.get(1)?)))
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

    /// Stores (or with `None` removes) an addition to the catalogue under a name of its own.
    ///
    /// # Errors
    /// [`StoreError::Catalogue`] if the catalogue with this addition would break a rule.
    pub fn set_catalogue_file(&mut self, name: &str, toml: Option<&str>) -> Result<(), WriteError> {
        let mut files: Vec<(String, String)> = self.run("reading the catalogue", || {
            self.db
                .prepare_cached("SELECT name, toml FROM catalogue_files WHERE name <> ?1")?
                .query_map([name], |row| Ok((row.get(0)?, row.get(1)?)))?
                .collect()
        })?;
        files.extend(toml.map(|toml| (name.to_owned(), toml.to_owned())));
        files.sort();
        with_files(&files)?;
        self.run("storing the catalogue", || match toml {
            Some(toml) => self
                .db
                .execute("INSERT OR REPLACE INTO catalogue_files VALUES (?1, ?2)", [name, toml]),
            None => self.db.execute("DELETE FROM catalogue_files WHERE name = ?1", [name]),
        })?;
        Ok(())
    }
}
