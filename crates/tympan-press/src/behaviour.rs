//! How a printer takes its stack and gives it back, learnt from two marked sheets.
