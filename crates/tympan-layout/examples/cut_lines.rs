//! Writes cut lines of a few plans as SVG and DXF, and where the pieces lie as JSON, for the
//! independent readers of `tests/layout`.
//!
//!     cargo run -p tympan-layout --example cut_lines -- FOLDER

use std::path::{Path, PathBuf};
use std::{env, fs};

use serde_json::{Value, json};
use tympan_layout::{ArtId, Job, Method, Piece, Plan, Sheet, Unmeasured, plan};
use tympan_sheet::{Flip, HexagonTop, Shape, Size};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder: PathBuf = env::args_os().nth(1).ok_or("give a folder")?.into();
    let a4 = Size::new(210.0, 297.0);
    let card = |radius: f64| Shape::rect(Size::new(63.5, 88.9), radius);
    for (name, shape, copies, gutter, sheet) in [
        ("sharp-single-cut", card(0.0), 9, 0.0, a4),
        ("round-single-cut", card(3.175), 9, 0.0, a4),
        ("round-gutter", card(3.175), 8, 6.0, a4),
        ("sharp-gutter", card(0.0), 5, 4.0, a4.turned()),
        ("circles", Shape::circle(25.0), 80, 2.0, a4),
        (
            "pointed",
            Shape::hexagon(40.0, HexagonTop::Pointed),
            28,
            2.0,
            a4,
        ),
        ("flat", Shape::hexagon(31.0, HexagonTop::Flat), 40, 1.0, a4),
    ] {
        let piece = Piece {
            may_turn: false,
            ..Piece::new(name, shape, ArtId(0), Some(ArtId(1))).copies(copies)
        };
        let job = Job {
            gutter,
            method: Method::Free,
            ..Job::new(vec![piece], Sheet::new(sheet, Flip::Sideways, 4.2))
        };
        write(&folder, name, &plan(&job, &Unmeasured, 1)?[0])?;
    }
    Ok(())
}

fn write(folder: &Path, name: &str, plan: &Plan) -> Result<(), Box<dyn std::error::Error>> {
    let lines = plan.cut_lines(0).ok_or("nothing to cut")?;
    fs::write(folder.join(format!("{name}.svg")), lines.svg())?;
    fs::write(folder.join(format!("{name}.dxf")), lines.dxf())?;
    let pieces: Vec<Value> = plan.groups[0]
        .cells
        .iter()
        .map(|cell| {
            let trim = cell.trim;
            json!({
                "shape": cell.shape,
                "trim": [trim.min.x, trim.min.y, trim.max.x, trim.max.y],
                "bleed": cell.bleed,
            })
        })
        .collect();
    let told = json!({ "sheet": plan.sheet.size, "pieces": pieces });
    fs::write(folder.join(format!("{name}.json")), told.to_string())?;
    Ok(())
}
