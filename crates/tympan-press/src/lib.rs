//! Printing: how a printer lays its stack, the order of a run's passes and loads, and the way to
//! the printer.

pub mod behaviour;
pub mod find;
pub mod ipp;
pub mod loads;
pub mod pictures;
pub mod raster;
pub mod waste;
