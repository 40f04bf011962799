//! Simulated printers, scanners and cameras, for the tests and the demo.
