//! Tests only: see `tests`.
