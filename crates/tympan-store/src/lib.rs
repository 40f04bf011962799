//! Set-ups and readings, kept in one SQLite file.
