//! Geometry of test sheets, and reading them by eye and from pictures.
