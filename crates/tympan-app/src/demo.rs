//! The demo: the game's files, a simulated faulty printer, its test sheets as they came out, and
//! the whole way from a pin to a corrected file.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use serde::Serialize;
use tympan_game::sheets::{Grid, deck_sheets, tile_sheets};
use tympan_game::{BLEED, CARD};
use tympan_pdf::draw::{self, Meta};
use tympan_pdf::raster::{Pages, View};
use tympan_sheet::drawing::Drawing;
use tympan_sheet::{Back, Flip, Paper, Point, Side, Size};
use tympan_sim::{
    Backlight, Camera, Hole, Media, OnBed, Page as Raster, Placement, Pose, PrintedSheet, Printer,
    Rng, Scanner, Scatter, jpeg_bytes, office_punch_twice,
};

use crate::correct::{self, Asked, Request, Sides};
use crate::files;
use crate::measure::{self, SetUp, Store};
use crate::pages::BackPages;
use crate::picture::line;
use crate::plan::Place;
use crate::refusal::Refusal;
use crate::report::{self, Design};

/// The demo's printer is always the same one.
const SEED: u64 = 1759;
/// Test sheets that it prints.
const SHEETS: u32 = 3;
/// How well a careful person hits a cross with a pin, mm.
const AIM_MM: f64 = 0.15;
/// Sharpness of the pictures of printed sheets.
const PX_PER_MM: f64 = 8.0;
/// The colour of the lines that sheets are cut along.
const CUT: image::Rgb<u8> = image::Rgb([220, 30, 30]);
/// Sharpness of the simulated scans.
const SCAN_DPI: f64 = 300.0;
/// The set-up's name.
const SETUP: &str = "demo printer";

/// What was written.
#[derive(Clone, Debug, Serialize)]
pub struct Made {
    /// The version of this form.
    pub schema: u32,
    /// The folder.
    pub folder: PathBuf,
    /// The files in it, in the order in which one looks at them, and what each is.
    pub files: Vec<(PathBuf, String)>,
    /// What the report says of the demo's printer.
    pub answer: String,
    /// Where its backs lie.
    pub seen_on_back: String,
}

impl Made {
    /// What was done, for people.
    pub fn in_words(&self) -> String {
        let mut text = format!(
            "Wrote the demo into {}. A simulated printer with a fault printed {SHEETS} test sheets; \
             they were\nread with a pin, and the game was corrected for it.\n\n",
            self.folder.display()
        );
        for (file, what) in &self.files {
            text.push_str(&format!("  {:<28} {what}\n", file.display().to_string()));
        }
        text.push_str(&format!(
            "\nBefore: {}\nAfter:  {}\n\nTo go the same way yourself, follow {}.",
            self.seen_on_back,
            self.answer,
            self.folder.join(README).display()
        ));
        text
    }
}

const README: &str = "read-me-first.txt";

/// Writes the demo into a new folder.
///
/// # Errors
/// A [`Refusal`] where the folder exists or cannot be written. What was begun is removed.
pub fn write(folder: &Path) -> Result<Made, Refusal> {
    if folder.exists() {
        return Err(Refusal::new(
            format!("{} already exists", folder.display()),
            "name a folder that does not exist yet",
        ));
    }
    fs::create_dir_all(folder).map_err(|e| Refusal::file("make the folder", folder, &e))?;
    let mut demo = Demo {
        folder,
        files: Vec::new(),
    };
    match demo.fill() {
        Ok((answer, seen_on_back)) => Ok(Made {
            schema: 1,
            folder: folder.to_path_buf(),
            files: demo.files,
            answer,
            seen_on_back,
        }),
        Err(refusal) => {
            // It was made just now: nobody else's files are in it.
            let _ = fs::remove_dir_all(folder);
            Err(refusal)
        }
    }
}

/// Writes the game's cards, on A4, into a new file.
///
/// # Errors
/// A [`Refusal`] where it cannot be written.
pub fn write_deck(output: &Path) -> Result<(), Refusal> {
    let a4: Paper = "a4".parse()?;
    let pages = deck_sheets(a4.size(), Flip::Sideways);
    let meta = Meta::new("Saltmarsh Ferry: 54 cards with bleed, on A4".to_owned());
    files::write_new(output, &draw::write(&pages, &meta)?)
}

struct Demo<'a> {
    folder: &'a Path,
    files: Vec<(PathBuf, String)>,
}

impl Demo<'_> {
    fn fill(&mut self) -> Result<(String, String), Refusal> {
        let a4: Paper = "a4".parse()?;
        let letter: Paper = "letter".parse()?;
        self.files
            .push((README.into(), "the way to go, step by step".into()));
        let flip = Flip::Sideways;
        self.pdf(
            "deck-a4.pdf",
            "54 cards with bleed, on A4",
            &deck_sheets(a4.size(), flip),
        )?;
        self.pdf(
            "deck-letter.pdf",
            "the same on Letter",
            &deck_sheets(letter.size(), flip),
        )?;
        self.pdf(
            "tiles-a4.pdf",
            "24 two-sided tiles",
            &tile_sheets(a4.size(), flip),
        )?;
        let mut store = Store::open(&self.folder.join("data"))?;
        let mut setup = SetUp::new(SETUP, a4, flip);
        setup.stock = Some("300 gsm matt card".parse()?);
        setup.printer = "a simulated printer".to_owned();
        setup.feed = "rear".to_owned();
        store.add_set_up(&setup)?;
        let test = self.folder.join("test-sheets.pdf");
        measure::write_test_sheets(&mut store, &setup, SHEETS, &test)?;
        self.files.push((
            "test-sheets.pdf".into(),
            "the test sheets, as they are to be printed".into(),
        ));
        let setup = store.set_up_named(SETUP)?;
        let table = self.print_test_sheets(&setup, &test)?;
        files::write_new(&self.folder.join("holes.csv"), table.as_bytes())?;
        self.files.push((
            "holes.csv".into(),
            "what the pin's holes say, place by place".into(),
        ));
        let export = store.export(std::slice::from_ref(&setup.id))?;
        files::write_new(
            &self.folder.join("set-up.json"),
            export.to_json().as_bytes(),
        )?;
        self.files.push((
            "set-up.json".into(),
            "the set-up, to import into a data folder".into(),
        ));
        measure::read_by_eye(&mut store, &setup, &measure::parse_table(&table)?, false)?;
        let learnt = measure::learn(&store, &setup)?;
        let report = report::report(&setup, &learnt, Design::default())?;
        let picture = crate::picture::error_field(&setup, &learnt);
        files::write_new(&self.folder.join("error-field.svg"), picture.as_bytes())?;
        self.files.push((
            "error-field.svg".into(),
            "where this printer puts the backs".into(),
        ));
        self.correct(&store)?;
        self.compare()?;
        files::write_new(&self.folder.join(README), read_me(self.folder).as_bytes())?;
        Ok((report.in_words.answer, report.in_words.seen_on_back))
    }

    fn pdf(&mut self, name: &str, what: &str, pages: &[Drawing]) -> Result<(), Refusal> {
        let title = format!("Saltmarsh Ferry: {what}");
        files::write_new(
            &self.folder.join(name),
            &draw::write(pages, &Meta::new(title))?,
        )?;
        self.files.push((name.into(), what.into()));
        Ok(())
    }

    /// Prints the test sheets, pricks them, keeps pictures of both sides, and reads the holes.
    fn print_test_sheets(&mut self, setup: &SetUp, pdf: &Path) -> Result<String, Refusal> {
        let printer = printer(setup.paper.size(), setup.flip);
        let pages = Pages::read(pdf, None)?;
        let printed = self.folder.join("printed");
        fs::create_dir_all(&printed).map_err(|e| Refusal::file("make the folder", &printed, &e))?;
        let mut table = String::from("sheet,place,what the grid on the back says\n");
        for number in 1..=SHEETS {
            // All fronts come first in the file, then all backs.
            let front = raster(&pages, number as usize - 1)?;
            let back = raster(&pages, (number + SHEETS) as usize - 1)?;
            let sheet = printer.print(u64::from(number), &front, &back);
            let mut rng = Rng::stream(SEED, u64::from(number));
            let mut holes = Vec::new();
            for station in measure::test_sheet(setup, number)?.stations() {
                let prick = sheet.prick(station.at, AIM_MM, &mut rng);
                let cross = setup.flip.to_back(station.at, setup.paper.size());
                let hole = prick.back - cross;
                // The grid says "low" above its cross and "left" to the right of it.
                let word = |mm: f64, minus: &str, plus: &str| {
                    format!("{:.1} {}", mm.abs(), if mm < 0.0 { minus } else { plus })
                };
                table.push_str(&format!(
                    "{number},{},{},{}\n",
                    station.name,
                    word(hole.y, "low", "high"),
                    word(hole.x, "right", "left")
                ));
                holes.push(Hole::pricked([prick.sheet.x, prick.sheet.y], &mut rng));
            }
            holes.extend(office_punch_twice(setup.paper.size(), &mut rng));
            let sheet = sheet.punched(holes);
            self.scan(&sheet, number)?;
            if number == 1 {
                self.photograph(&sheet)?;
            }
            for side in Side::BOTH {
                let name = format!("sheet-{number}-{side}.png");
                save(&printed.join(name), &sheet, side)?;
            }
        }
        self.files.push((
            "printed/".into(),
            "pictures of the printed test sheets with their holes".into(),
        ));
        Ok(table)
    }

    /// Two scans of a sheet over a dark backing.
    fn scan(&self, sheet: &PrintedSheet, number: u32) -> Result<(), Refusal> {
        let folder = self.pictures()?;
        let scanner = Scanner {
            jpeg: Some(90),
            colour: true,
            ..Scanner::usual(SEED, SCAN_DPI)
        };
        for (side, seed) in [(Side::Front, 2 * number), (Side::Back, 2 * number + 1)] {
            let scan = scanner.scan(sheet, side, &OnBed::by_hand(u64::from(seed)));
            let file = folder.join(format!("scan-{number}-{side}.jpg"));
            files::write_new(&file, &jpeg(&scan.image, SCAN_DPI)?)?;
        }
        Ok(())
    }

    /// A photo of a sheet against a window.
    fn photograph(&mut self, sheet: &PrintedSheet) -> Result<(), Refusal> {
        let folder = self.pictures()?;
        let camera = Camera::phone(SEED);
        let size = sheet.cut_size();
        let pose = Pose::by_hand(&camera, size, SEED);
        let photo = camera.photo(
            sheet,
            Side::Front,
            &pose,
            &Backlight::window(0.15, size, SEED),
        );
        files::write_new(&folder.join("photo-1.jpg"), &jpeg(&photo.image, 72.0)?)?;
        let what = "scans of the test sheets, and a photo of the first against a window";
        self.files.push(("pictures/".into(), what.into()));
        Ok(())
    }

    fn pictures(&self) -> Result<PathBuf, Refusal> {
        let folder = self.folder.join("pictures");
        fs::create_dir_all(&folder).map_err(|e| Refusal::file("make the folder", &folder, &e))?;
        Ok(folder)
    }

    fn correct(&mut self, store: &Store) -> Result<(), Refusal> {
        let request = Request {
            inputs: vec![self.folder.join("deck-a4.pdf")],
            back_file: None,
            output: self.folder.join("deck-a4-corrected.pdf"),
            asked: Asked::SetUp(SETUP.to_owned()),
            on: Sides::Backs,
            backs: BackPages::Even,
            flip: None,
            paper: None,
            place: Place::Centre,
            driver_turns: None,
            password: None,
            really: false,
            and_file: false,
        };
        correct::correct(Some(store), &request, &mut |_| {}, &AtomicBool::new(false))?;
        self.files.push((
            "deck-a4-corrected.pdf".into(),
            "the deck, corrected for this printer".into(),
        ));
        Ok(())
    }

    /// The back of the deck's first sheet as it comes out before and after, with the lines along
    /// which the fronts' trim marks have it cut.
    fn compare(&mut self) -> Result<(), Refusal> {
        for (pdf, picture, what) in [
            (
                "deck-a4.pdf",
                "before.png",
                "a printed back, and the lines it will be cut along",
            ),
            (
                "deck-a4-corrected.pdf",
                "after.png",
                "the same after correction",
            ),
        ] {
            let pages = Pages::read(&self.folder.join(pdf), None)?;
            let (front, back) = (raster(&pages, 0)?, raster(&pages, 1)?);
            let size = pages.size(0)?;
            let sheet = printer(size, Flip::Sideways).print(11, &front, &back);
            let mut view = sheet.view(Side::Back, PX_PER_MM);
            let grid = Grid::fitting(size, CARD, BLEED);
            for cell in 0..grid.cells() {
                let corners = grid.trim_of(cell).corners();
                let cut = corners.map(|corner| sheet.turn_over(sheet.front(corner)));
                for (from, to) in cut.iter().zip(cut.iter().cycle().skip(1)) {
                    let px = |p: &Point<Back>| (p.x * PX_PER_MM, p.y * PX_PER_MM);
                    line(&mut view, px(from), px(to), CUT);
                }
            }
            let path = self.folder.join(picture);
            view.save(&path)
                .map_err(|e| Refusal::new(e.to_string(), "check the disk"))?;
            self.files.push((picture.into(), what.into()));
        }
        Ok(())
    }
}

/// The demo's printer: backs 2.1 mm low and 0.4 mm left, tilted by 0.2°, with the usual scatter.
fn printer(size: Size, flip: Flip) -> Printer {
    Printer {
        seed: SEED,
        fronts: Placement {
            shift: [0.3, -0.5],
            ..Placement::default()
        },
        backs: Placement {
            shift: [-0.4, 1.6],
            tilt_deg: 0.2,
            stretch: [0.0008, -0.0006],
            ..Placement::default()
        },
        scatter: Scatter::USUAL,
        media: Media::default(),
        ..Printer::exact(size, flip)
    }
}

fn raster(pages: &Pages, page: usize) -> Result<Arc<Raster>, Refusal> {
    let picture = pages.rgb(page, &View::whole(PX_PER_MM))?;
    Ok(Arc::new(Raster::new(&picture.into(), PX_PER_MM)))
}

fn jpeg(picture: &image::DynamicImage, dpi: f64) -> Result<Vec<u8>, Refusal> {
    jpeg_bytes(picture, 90, dpi).map_err(|e| Refusal::new(e.to_string(), "try again"))
}

fn save(path: &Path, sheet: &PrintedSheet, side: Side) -> Result<(), Refusal> {
    let picture = sheet.view(side, PX_PER_MM);
    picture
        .save(path)
        .map_err(|e| Refusal::new(e.to_string(), "check the disk"))
}

fn read_me(folder: &Path) -> String {
    let folder = folder.display();
    format!(
        "Saltmarsh Ferry: a demo for Tympan\n\
         \n\
         A simulated printer puts the backs of its sheets in the wrong place. Go the way from its\n\
         test sheets to a corrected deck:\n\
         \n\
         1. Look at test-sheets.pdf: this is what one prints.\n\
         2. Look at printed/sheet-1-back.png: the small hole near each letter went through a cross on\n\
         \u{20}  the front. The words beside the grid where the hole lies say how the back sits. (The large\n\
         \u{20}  holes by the edges tie the scans of the two sides together.)\n\
         3. Take the set-up into a data folder of your own, and the holes of all three sheets:\n\
         \n\
         \u{20}    tympan --data my-data setup import {folder}/set-up.json\n\
         \u{20}    tympan --data my-data read --setup \"{SETUP}\" --table {folder}/holes.csv\n\
         \n\
         \u{20}  Or read all three from their scans, in any order, with pictures of what was found:\n\
         \n\
         \u{20}    tympan --data my-data read --setup \"{SETUP}\" --again {folder}/pictures/scan-* \
         --evidence found\n\
         \n\
         \u{20}  Or the first one from a photo against a window:\n\
         \n\
         \u{20}    tympan --data my-data read --setup \"{SETUP}\" --again \
         {folder}/pictures/photo-1.jpg\n\
         \n\
         4. See what they say:\n\
         \n\
         \u{20}    tympan --data my-data report --setup \"{SETUP}\"\n\
         \n\
         5. Correct the deck:\n\
         \n\
         \u{20}    tympan --data my-data correct {folder}/deck-a4.pdf -o deck.pdf --setup \"{SETUP}\"\n\
         \n\
         before.png and after.png show a printed back and, as red lines, where the trim marks on its\n\
         front will have it cut.\n"
    )
}
