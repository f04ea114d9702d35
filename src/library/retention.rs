//! How long players are kept: a wish of the library's owner, of which it reminds.

use jiff::civil::Date;
use rusqlite::{OptionalExtension, params};

use super::read::parsed;
use super::{Author, Library, StoreError, WriteError, Writer};

/// For how long players are kept after the last day anything was recorded of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Retention {
    /// Months.
    pub months: u32,
    /// Who said so.
    pub by: Author,
    /// On which day.
    pub day: Date,
}

impl Library {
    /// For how long players are kept; `None`: no time is set.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn retention(&self) -> Result<Option<Retention>, StoreError> {
        self.connection
            .query_row("SELECT months, said_by, day FROM retention", [], |row| {
                let by: String = row.get(1)?;
                Ok(Retention {
                    months: row.get(0)?,
                    by: Author::from_text(&by),
                    day: parsed(row, 2)?,
                })
            })
            .optional()
            .map_err(StoreError::sql("reading how long players are kept"))
    }
}

impl Writer<'_> {
    /// Sets for how long players are kept; `None`: no limit.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn set_retention(&mut self, retention: Option<&Retention>) -> Result<(), WriteError> {
        self.run("storing how long players are kept", || {
            self.db.execute("DELETE FROM retention", [])?;
            if let Some(Retention { months, by, day }) = retention {
                self.db.execute(
                    "INSERT INTO retention (id, months, said_by, day) VALUES (1, ?1, ?2, ?3)",
                    params![months, by.as_str(), day.to_string()],
                )?;
            }
            Ok(())
        })?;
        Ok(())
    }
}
