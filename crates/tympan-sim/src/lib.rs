//! Simulated printers, scanners and cameras, for the tests and the demo.
//!
//! A simulated machine takes rasters of pages that somebody else rendered and does to them what
//! paper, rollers, lamps and lenses do. It keeps the truth beside every picture, so that a reader
//! can be judged. It shares no geometry with the code that it tests: its affine maps, flips and
//! warps are its own, and nothing here knows what a test sheet looks like.

mod bench;
mod camera;
mod holes;
mod light;
mod media;
mod page;
mod paint;
mod picture;
mod poppler;
mod printer;
mod rng;
mod scanner;
mod sheet;
mod warp;

pub use bench::{Bench, Pair, Shot, Spoiler, Weakness};
pub use camera::{Backlight, Camera, Hand, Photo, PhotoView, Pose};
pub use holes::{Hole, office_punch, office_punch_twice};
pub use media::Media;
pub use page::Page;
pub use paint::Depth;
pub use picture::{jpeg_bytes, png_bytes, through_jpeg};
pub use poppler::{PopplerError, poppler_pages};
pub use printer::{Guide, Margins, Placement, Printer, Scatter};
pub use rng::Rng;
pub use scanner::{Backing, EdgeShadow, OnBed, Scan, ScanView, Scanner};
pub use sheet::{Corner, Fold, Prick, PrintedSheet};
pub use tympan_sheet::Side;
