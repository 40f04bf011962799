//! The statistics of register: steady error, scatter and what the next sheet will do.
