//! Simulated printers, scanners and cameras, for the tests and the demo.
//!
//! A simulated machine takes rasters of pages that somebody else rendered and does to them what
//! paper, rollers, lamps and lenses do. It keeps the truth beside every picture, so that a reader
//! can be judged. It shares no geometry with the code that it tests: its affine maps, flips and
//! warps are its own, and nothing here knows what a test sheet looks like.
//!
//! ```
//! use std::sync::Arc;
//! use tympan_sheet::{Flip, Point, Size};
//! use tympan_sim::{OnBed, Page, Placement, Printer, Rng, Scanner, Side, office_punch_twice};
//!
//! // In earnest the pages come from `poppler_pages`.
//! let size = Size::new(105.0, 148.0);
//! let page = Arc::new(Page::blank(size));
//!
//! // Looking at the back: 2 mm low and 0.5 mm left.
//! let backs = Placement::shifted(-0.5, 2.0);
//! let printer = Printer { backs, ..Printer::exact(size, Flip::Sideways) };
//! let sheet = printer.print(1, &page, &page);
//! let r = sheet.register_error(Point::new(20.0, 30.0));
//! assert!((r.x - 0.5).abs() < 1e-9 && (r.y - 2.0).abs() < 1e-9);
//!
//! // A pin through the front's cross, read on the back's grid.
//! let mut rng = Rng::new(7);
//! let prick = sheet.prick(Point::new(20.0, 30.0), 0.15, &mut rng);
//! assert!((prick.back.y - 28.0).abs() < 1.0, "the hole lies above the cross behind it");
//!
//! // Four punched holes, and a scan of the back as one sees it.
//! let sheet = sheet.punched(office_punch_twice(size, &mut rng));
//! let scan = Scanner::usual(1, 75.0).scan(&sheet, Side::Back, &OnBed::by_hand(1));
//! let [x, y] = scan.view.pixel_of_page([85.0, 30.0]);
//! assert!(scan.view.shows([x, y], 0.0));
//! ```

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
pub use picture::{dark_centroid, jpeg_bytes, png_bytes, through_jpeg};
pub use poppler::{PopplerError, poppler_pages};
pub use printer::{Guide, Margins, Placement, Printer, Scatter};
pub use rng::Rng;
pub use scanner::{Backing, EdgeShadow, OnBed, Scan, ScanView, Scanner};
pub use sheet::{Corner, Fold, Prick, PrintedSheet};
pub use tympan_sheet::Side;
