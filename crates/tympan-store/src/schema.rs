//! The tables.

use rusqlite_migration::{M, Migrations};

/// Marks a database as this program's (`TYMP` in ASCII; SQLite file format, 1.3.16).
pub(crate) const APPLICATION_ID: i32 = 0x5459_4D50;

/// Each record is kept whole as the JSON that docs/data-format.md describes, so that the export is
/// what is stored and every number keeps its bits (a REAL column would lose the sign of zero).
/// Columns beside it are keys, or generated from it.
///
/// A field added to a record needs a migration too, if only to raise the version: an older
/// program would drop the field when it changes the record.
const MIGRATIONS: &[M<'static>] = &[
    M::up(include_str!("schema/1.sql")).comment("set-ups, readings, log"),
    M::up(include_str!("schema/2.sql")).comment("runs, behaviours, trays"),
    M::up(include_str!("schema/3.sql")).comment("witness marks"),
];

/// How to bring a database to the newest version.
pub(crate) const fn migrations() -> Migrations<'static> {
    Migrations::from_slice(MIGRATIONS)
}

/// The newest version.
pub(crate) const LATEST: i64 = MIGRATIONS.len() as i64;

#[cfg(test)]
mod tests {
    #[test]
    fn the_migrations_are_sound() {
        super::migrations().validate().expect("sound");
    }
}
