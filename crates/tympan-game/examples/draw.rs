//! Writes every piece of the game as PDF: `cargo run -p tympan-game --example draw -- FOLDER`.

use std::path::PathBuf;

use tympan_pdf::draw::{self, Meta};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = PathBuf::from(std::env::args().nth(1).ok_or("name a folder to write to")?);
    std::fs::create_dir_all(&folder)?;
    let put = |name: &str, pages: &[tympan_sheet::drawing::Drawing]| {
        let pdf = draw::write(pages, &Meta::new(format!("Saltmarsh Ferry: {name}")))?;
        std::fs::write(folder.join(format!("{name}.pdf")), pdf)?;
        Ok::<_, Box<dyn std::error::Error>>(())
    };
    let cards: Vec<_> = tympan_game::deck().into_iter().flat_map(|c| [c.front, c.back]).collect();
    put("deck", &cards)?;
    Ok(())
}
