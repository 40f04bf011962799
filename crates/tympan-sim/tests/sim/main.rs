//! The simulation tested against facts that it does not know: arithmetic on paper, published
//! standards, OpenCV.

mod bench;
mod camera;
mod common;
mod poppler;
mod printer;
mod scanner;
