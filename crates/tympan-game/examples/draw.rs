//! Writes every piece of the game as PDF: `cargo run -p tympan-game --example draw -- FOLDER`.

use std::path::PathBuf;

use tympan_game::sheets;
use tympan_pdf::draw::{self, Meta};
use tympan_sheet::{Flip, Size};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = PathBuf::from(std::env::args().nth(1).ok_or("name a folder to write to")?);
    std::fs::create_dir_all(&folder)?;
    let put = |name: &str, pages: &[tympan_sheet::drawing::Drawing]| {
        let pdf = draw::write(pages, &Meta::new(format!("Saltmarsh Ferry: {name}")))?;
        std::fs::write(folder.join(format!("{name}.pdf")), pdf)?;
        Ok::<_, Box<dyn std::error::Error>>(())
    };
    let cards: Vec<_> = tympan_game::deck()
        .into_iter()
        .flat_map(|c| [c.front, c.back])
        .collect();
    put("deck", &cards)?;
    let tiles: Vec<_> = tympan_game::tiles()
        .into_iter()
        .flat_map(|t| [t.front, t.back])
        .collect();
    put("tiles", &tiles)?;
    put("board", &[tympan_game::board()])?;
    put("rules", &tympan_game::rules())?;
    put("tuck box", &[tympan_game::tuck_box()])?;
    for (paper, size) in [
        ("A4", Size::new(210.0, 297.0)),
        ("Letter", Size::new(215.9, 279.4)),
    ] {
        for flip in [Flip::Sideways, Flip::Endways] {
            put(
                &format!("deck {paper} {flip}"),
                &sheets::deck_sheets(size, flip),
            )?;
            put(
                &format!("tiles {paper} {flip}"),
                &sheets::tile_sheets(size, flip),
            )?;
            let landscape = sheets::deck_sheets(size.turned(), flip);
            put(&format!("deck {paper} landscape {flip}"), &landscape)?;
        }
    }
    let a4 = Size::new(210.0, 297.0);
    put(
        "deck A4 crooked",
        &sheets::crooked_deck_sheets(a4, Flip::Sideways),
    )?;
    Ok(())
}
