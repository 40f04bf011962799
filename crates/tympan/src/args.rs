//! The commands and their options.

mod lay;

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};
use tympan_app::correct::Sides;
use tympan_app::inspect::AskedPairs;
use tympan_app::measure::FlippedBy;
use tympan_app::pages::BackPages;
use tympan_app::plan::Place;
use tympan_app::print::{Fingerprint, Quality, Sides as PrintSides, Span};
use tympan_app::sheet::{Facing, Flip, LeadingEdge, Length, Paper, QuarterTurn, Side, Stock};

pub(crate) use lay::Lay;

/// Puts the backs of home-printed cards behind their fronts.
///
/// Measures where a printer puts the second side of a sheet, and corrects PDF files so that the
/// backs land.
#[derive(Parser, Debug)]
#[command(
    name = "tympan",
    version,
    max_term_width = 100,
    after_help = "Example, when backs come out 2 mm low:\n  \
        tympan correct game.pdf -o game-right.pdf --seen \"2mm low, 0.4mm left\"\n\n\
        Lengths are millimetres where no unit is given; 0.08in is understood too.\n\
        Without a command, Tympan serves its page on this machine and opens the browser."
)]
pub(crate) struct Cli {
    /// The folder that set-ups and readings are kept in (usually the user's own data folder).
    #[arg(long, global = true, env = "TYMPAN_DATA", value_name = "DIR")]
    pub data: Option<PathBuf>,
    /// Answer in JSON, for scripts.
    #[arg(long, global = true)]
    pub json: bool,
    /// What to do.
    #[command(subcommand)]
    pub command: Option<Command>,
}

/// What to do.
#[derive(Subcommand, Debug)]
pub(crate) enum Command {
    /// Serve the page on this machine and open it in the browser.
    #[command(after_help = "Example:\n  tympan serve --port 7300 --no-open\n\n\
        Only this machine can reach the page. Press Ctrl-C to stop.")]
    Serve(Serve),
    /// Make, list and keep set-ups: a printer with its stock, tray and way of flipping.
    #[command(subcommand)]
    Setup(SetupCommand),
    /// Write test sheets to print on both sides.
    #[command(
        after_help = "Example:\n  tympan testsheet --setup \"rear tray\" --sheets 3 -o test.pdf"
    )]
    Testsheet(Testsheet),
    /// Read test sheets into the log: from scans or a photo, with a pin, or with a ruler.
    #[command(after_help = "Examples:\n  \
        tympan read --setup \"rear tray\" --sheet 1 --pin \"A: 2.1 low, 0.4 left\" --pin \"B: 2 low\"\n  \
        tympan read --setup \"rear tray\" front.png back.png\n  \
        tympan read --setup \"rear tray\" --ruler \"2mm low, 0.5mm left\"\n  \
        tympan read --setup \"rear tray\" --table holes.csv\n\n\
        Prick a pin through a cross on the front; on the back, the words beside the grid where the\n\
        hole lies are the answer. With nothing but --setup and --sheet, Tympan asks place by place.\n\
        A table has lines like: 1, A, 2.1 low, 0.4 left\n\n\
        A sheet of cards with witness marks (lay --witness) is read from pictures, too, before it is\n\
        cut: the code in its marks names its run, and what the run's correction did is taken out.")]
    Read(Read),
    /// Say what is known about a set-up, and what to expect of the next sheets.
    #[command(after_help = "Example:\n  tympan report --setup \"rear tray\" --picture field.svg")]
    Report(Report),
    /// Look at a PDF of cards before stock is spent on it.
    #[command(after_help = "Examples:\n  \
        tympan inspect game.pdf\n  \
        tympan inspect game.pdf --setup \"rear tray\"\n  \
        tympan inspect fronts.pdf backs.pdf\n  \
        tympan inspect game.pdf --pairs fronts-then-backs\n  \
        tympan inspect game.pdf --pairs 2-3,4-5\n\n\
        Tells which pages are fronts and backs, where the cards are, whether the file itself is\n\
        crooked, and what else will bite. With a set-up, bleed and borders are judged by what that\n\
        printer does.")]
    Inspect(Inspect),
    /// Correct a PDF, so that its backs land behind its fronts.
    #[command(after_help = "Examples:\n  \
        tympan correct game.pdf -o right.pdf --setup \"rear tray\"\n  \
        tympan correct game.pdf -o right.pdf --seen \"2mm low, 0.4mm left, tilted 0.2 clockwise\"\n  \
        tympan correct game.pdf -o right.pdf --move \"2mm up, 0.4mm right\"\n  \
        tympan correct game.pdf -o right.pdf --setup \"rear tray\" --and-file\n  \
        tympan correct fronts.pdf --back-file backs.pdf -o both.pdf --setup \"rear tray\"\n\n\
        Print the result at actual size (100 %), never fitted to the page.")]
    Correct(Correct),
    /// Lay cards out afresh: new sheets from a PDF's cards, from pictures, or from a deck list.
    #[command(after_help = "Examples:\n  \
        tympan lay game.pdf -o sheets.pdf --card poker --paper a4\n  \
        tympan lay pictures/ -o sheets.pdf --card poker --setup \"rear tray\"\n  \
        tympan lay deck.csv tokens/ --job job.toml --show\n  \
        tympan lay game.pdf -o again.pdf --job job.toml --only \"Heron\" --only \"Mudflat\"\n\n\
        docs/lay.md describes deck lists and job files. Print the result at actual size (100 %).")]
    Lay(Box<Lay>),
    /// Make a print run: the passes in the right order and the right way up, in loads, with a job
    /// sheet; and say what became of it.
    #[command(after_help = "Examples:\n  \
        tympan run game.pdf --setup \"rear tray\" -o run\n  \
        tympan run game.pdf --setup \"rear tray\" -o run --copies 3 --first back\n  \
        tympan run --adjust \"0.3mm low\"\n  \
        tympan run --spoiled 17 --why jam\n  \
        tympan run --again 17-20 --why jam -o more\n  \
        tympan run --again 17 --stopped-in back -o rest\n  \
        tympan run --done\n\n\
        What follows a run is about the newest one, unless --of names another. Teach Tympan first\n\
        how the printer lays its pile: tympan setup teach \"rear tray\" -o trial.pdf")]
    Run(Box<Run>),
    /// Print a PDF straight on a printer, with nothing on the way that scales it.
    #[command(after_help = "Examples:\n  \
        tympan print --list\n  \
        tympan print --printer study-printer.local --abilities\n  \
        tympan print pass-1.pdf --printer study-printer.local --setup \"rear tray\" --sheets 1\n  \
        tympan print pass-1.pdf --printer ipp://192.0.2.7/ipp/print --source rear --from-sheet 17\n\n\
        Shows what will be printed and asks before paper moves. Measure the 100 mm check rule on the\n\
        first sheet. After a jam, go on with --from-sheet.")]
    Print(Box<Print>),
    /// Convert paper weights: what is written on a wrapper, in all units.
    #[command(after_help = "Example:\n  tympan stock \"65 lb cover\"")]
    Stock(StockArgs),
    /// Look through the readings and print runs of a set-up; set a reading aside or bring it back.
    #[command(after_help = "Examples:\n  tympan log --setup \"rear tray\"\n  \
        tympan log --set-aside 7K2M9QX4 --why \"the sheet slipped\"")]
    Log(Log),
    /// Write the demo game, Saltmarsh Ferry, and a faulty printer's test sheets to play with.
    #[command(after_help = "Example:\n  tympan demo saltmarsh")]
    Demo(Demo),
    /// Print a completion script for a shell, or the manual page.
    #[command(hide = true)]
    Generate(Generate),
    /// Read files for the page, as its child with limits of its own.
    #[command(hide = true)]
    Worker {
        /// The most memory, MB.
        #[arg(long)]
        memory: u64,
    },
}

/// Serving the page.
#[derive(Args, Debug)]
pub(crate) struct Serve {
    /// The port; 7297 where it is free, else any.
    #[arg(long)]
    pub port: Option<u16>,
    /// Do not open the browser.
    #[arg(long)]
    pub no_open: bool,
    /// Give up an upload that brings nothing for so many seconds.
    #[arg(long, hide = true, default_value_t = 30)]
    pub patience: u64,
}

/// Making, listing and keeping set-ups.
#[derive(Subcommand, Debug)]
pub(crate) enum SetupCommand {
    /// Make a set-up.
    #[command(after_help = "Example:\n  tympan setup new \"rear tray\" --paper a4 \
        --stock \"65 lb cover\" --flip sideways --feed rear")]
    New(Box<SetupNew>),
    /// List all set-ups.
    List,
    /// Show one set-up.
    Show {
        /// Its name.
        name: String,
    },
    /// Give a set-up another name.
    Rename {
        /// Its name.
        name: String,
        /// The name it gets.
        to: String,
    },
    /// Make a set-up like another one, without its readings.
    Copy {
        /// The one to copy.
        name: String,
        /// The name of the copy.
        to: String,
    },
    /// Remove a set-up. Its readings are kept until it is purged; restore brings it back.
    Remove {
        /// Its name.
        name: String,
    },
    /// Bring back a removed set-up.
    Restore {
        /// Its name.
        name: String,
    },
    /// Learn how the printer lays its pile, from two marked sheets, so that runs go back the right
    /// way. With -o and no answers, write the two sheets to print.
    #[command(after_help = "Examples:\n  \
        tympan setup teach \"rear tray\" -o trial.pdf\n  \
        tympan setup teach \"rear tray\"        (asks what you see)\n  \
        tympan setup teach \"rear tray\" --on-top-sheet 1 --took pencilled --at-arrow head \\\n    \
        --uppermost 2 --faces up\n\n\
        Leave out what you did not see: where that leaves a doubt, a second short pass settles it. On a\n\
        terminal Tympan writes it and asks on; in scripts, give -o again for its file, print it, and\n\
        give the same answers once more with --behind, --same-face and --heads.")]
    Teach(Box<SetupTeach>),
    /// Say what the feed tray holds, and between which fills it feeds well.
    #[command(
        after_help = "Example:\n  tympan setup tray \"rear tray\" --holds 100 --from 25 --to 60"
    )]
    Tray {
        /// The set-up's name.
        name: String,
        /// Sheets of 80 g/m² paper that it holds, as its maker says.
        #[arg(long)]
        holds: Option<u32>,
        /// It feeds badly below this share of its height, per cent.
        #[arg(long, value_name = "PERCENT")]
        from: Option<f64>,
        /// It feeds badly above this share, per cent.
        #[arg(long, value_name = "PERCENT")]
        to: Option<f64>,
    },
    /// Write set-ups with their readings as JSON.
    Export {
        /// Their names; all set-ups where none is given.
        names: Vec<String>,
        /// The file to write; it must not exist. Written to stdout where none is given.
        #[arg(short, long, value_name = "FILE")]
        output: Option<PathBuf>,
    },
    /// Take in set-ups and readings from an export.
    Import {
        /// The file.
        file: PathBuf,
        /// Take them in as new ones, though the same are here already.
        #[arg(long)]
        as_new: bool,
    },
}

/// A new set-up.
#[derive(Args, Debug)]
pub(crate) struct SetupNew {
    /// A name for it, such as "rear tray".
    pub name: String,
    /// The paper: a4, letter, legal, a3, tabloid, "jis b5", or a size like 210x297mm.
    #[arg(long)]
    pub paper: Paper,
    /// How the back stands to the front of a sheet held upright: sideways if heads lie together,
    /// as in a book; endways if head lies to foot, as in a notepad.
    #[arg(long)]
    pub flip: Flip,
    /// What is on the wrapper: "65 lb cover", "300 gsm", "0.30 mm".
    #[arg(long)]
    pub stock: Option<Stock>,
    /// Who turns the stack over between the passes.
    #[arg(long, value_enum, default_value_t = By::Hand)]
    pub flipped_by: By,
    /// The side that is printed first.
    #[arg(long, default_value = "front", value_name = "front|back")]
    pub first: Side,
    /// The edge that goes into the printer first, as seen on the print held upright.
    #[arg(long, default_value = "head", value_name = "head|foot|left|right")]
    pub leading: LeadingEdge,
    /// The printer.
    #[arg(long, default_value = "")]
    pub printer: String,
    /// The program printed from.
    #[arg(long, default_value = "")]
    pub program: String,
    /// The driver.
    #[arg(long, default_value = "")]
    pub driver: String,
    /// The media type chosen in the print dialog.
    #[arg(long, default_value = "")]
    pub media_type: String,
    /// The quality chosen in the print dialog.
    #[arg(long, default_value = "")]
    pub quality: String,
    /// Which ream or packet.
    #[arg(long, default_value = "")]
    pub ream: String,
    /// The tray or path that feeds the sheets, such as rear.
    #[arg(long, default_value = "")]
    pub feed: String,
    /// Where the printer cannot print: one width for all edges, or four: top,right,bottom,left.
    #[arg(long, value_name = "MM[,MM,MM,MM]", value_delimiter = ',')]
    pub unprintable: Vec<Length>,
    /// Whatever is worth remembering.
    #[arg(long, default_value = "")]
    pub notes: String,
}

/// Teaching how a printer lays its pile.
#[derive(Args, Debug)]
pub(crate) struct SetupTeach {
    /// The set-up's name.
    pub name: String,
    /// The two sheets to print, as a PDF; it must not exist.
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
    /// The number printed on the sheet marked TOP.
    #[arg(long, value_name = "1|2")]
    pub on_top_sheet: Option<u8>,
    /// The face that took the print: the pencilled one, or the other.
    #[arg(long, value_enum)]
    pub took: Option<TookArg>,
    /// The edge of the printed page, held upright, at the end that the pencil arrow points to.
    #[arg(long, value_name = "head|foot|left|right")]
    pub at_arrow: Option<LeadingEdge>,
    /// The number on the sheet that lay uppermost as the printer delivered them.
    #[arg(long, value_name = "1|2")]
    pub uppermost: Option<u8>,
    /// How the print lay there.
    #[arg(long, value_name = "up|down")]
    pub faces: Option<Facing>,
    /// After a second pass: the ringed number that the sheet with the plain 1 got.
    #[arg(long, value_name = "1|2", requires_all = ["same_face", "heads"])]
    pub behind: Option<u8>,
    /// After a second pass: whether both prints are on one face.
    #[arg(long, value_enum, requires = "behind")]
    pub same_face: Option<YesNo>,
    /// After a second pass: whether the two heads are at the same edge of the sheet.
    #[arg(long, value_enum, requires = "behind")]
    pub heads: Option<Heads>,
}

/// Which face.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum TookArg {
    /// The face with the pencil marks.
    Pencilled,
    /// The other one.
    Other,
}

/// Yes or no.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum YesNo {
    /// Yes.
    Yes,
    /// No.
    No,
}

/// How heads lie to each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Heads {
    /// At the same edge.
    Together,
    /// At opposite edges.
    Apart,
}

/// Who flips.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum By {
    /// A person puts the stack back.
    Hand,
    /// The printer's own duplex unit.
    Machine,
}

impl From<By> for FlippedBy {
    fn from(by: By) -> Self {
        match by {
            By::Hand => Self::Hand,
            By::Machine => Self::Machine,
        }
    }
}

/// Writing test sheets.
#[derive(Args, Debug)]
pub(crate) struct Testsheet {
    /// The set-up's name.
    #[arg(long)]
    pub setup: String,
    /// How many sheets; three to five are usual.
    #[arg(long, default_value_t = 3)]
    pub sheets: u32,
    /// The PDF to write; it must not exist.
    #[arg(short, long, value_name = "FILE")]
    pub output: PathBuf,
}

/// Reading test sheets.
#[derive(Args, Debug)]
pub(crate) struct Read {
    /// Scans or photos of test sheets, or of production sheets with witness marks before they are cut
    /// (lay --witness): two scans of a sheet, one of each side, or one photo against
    /// the light; any number, in any order.
    #[arg(value_name = "PICTURE", conflicts_with_all = ["pin", "ruler", "table", "sheet", "rule", "first"])]
    pub pictures: Vec<PathBuf>,
    /// Save the pictures with the found marks circled and what is left over magnified.
    #[arg(long, value_name = "DIR", requires = "pictures")]
    pub evidence: Option<PathBuf>,
    /// The set-up's name.
    #[arg(long)]
    pub setup: String,
    /// The number on the sheet.
    #[arg(long)]
    pub sheet: Option<u32>,
    /// What the grid says at a place: "A: 2.1 low, 0.4 left". Once for each place.
    #[arg(long, value_name = "PLACE: WORDS")]
    pub pin: Vec<String>,
    /// What a ruler says, looking at the back: "2mm low, 0.5mm left".
    #[arg(long, value_name = "WORDS", conflicts_with_all = ["pin", "table"])]
    pub ruler: Option<String>,
    /// A table of holes, a line for each: sheet, place, words. "-" reads it from stdin.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["pin", "sheet"])]
    pub table: Option<PathBuf>,
    /// What the 100 mm rules measure: "96.8 across, 96.9 along", or "back 100.1 across".
    #[arg(long, value_name = "WORDS")]
    pub rule: Vec<String>,
    /// The side that was printed first, if you want it checked against the set-up's.
    #[arg(long, value_name = "front|back")]
    pub first: Option<Side>,
    /// The sheet was read before; this reading takes the place of that one.
    #[arg(long)]
    pub again: bool,
}

/// Reporting.
#[derive(Args, Debug)]
pub(crate) struct Report {
    /// The set-up's name.
    #[arg(long)]
    pub setup: String,
    /// The trimmed card that bleed and border are worked out for: a name like poker or bridge, or
    /// a size like 57x87mm.
    #[arg(long, default_value = "poker")]
    pub card: String,
    /// How well you cut: 19 cuts in 20 fall within this of where they should.
    #[arg(long, default_value = "0.5mm")]
    pub cut: Length,
    /// Write a picture of the error field and the sheets (SVG).
    #[arg(long, value_name = "FILE")]
    pub picture: Option<PathBuf>,
}

/// Correcting.
#[derive(Args, Debug)]
pub(crate) struct Correct {
    /// The PDF; several files of one game are put one after the other.
    #[arg(required = true, value_name = "IN.pdf")]
    pub inputs: Vec<PathBuf>,
    /// The PDF to write; it must not exist.
    #[arg(short, long, value_name = "OUT.pdf")]
    pub output: PathBuf,
    /// Correct by the readings of this set-up.
    #[arg(long, group = "cause")]
    pub setup: Option<String>,
    /// Correct by what was seen, looking at the back: "2mm low, 0.4mm left, tilted 0.2 clockwise".
    #[arg(long, group = "cause", value_name = "WORDS")]
    pub seen: Option<String>,
    /// Do this to the back pages, looking at them: "2mm up, 0.4mm right", or DX,DY in mm (x right,
    /// y down).
    #[arg(long = "move", value_name = "WORDS|DX,DY", allow_hyphen_values = true, conflicts_with_all = ["setup", "seen"])]
    pub moved: Option<String>,
    /// Tilt the back pages too: degrees, clockwise as seen.
    #[arg(long, value_name = "DEGREES", allow_hyphen_values = true, conflicts_with_all = ["setup", "seen"])]
    pub tilt: Option<tympan_app::sheet::Angle>,
    /// Stretch the back pages too: across and from top to bottom, as in 0.1%,-0.05%.
    #[arg(long, value_name = "X%,Y%", allow_hyphen_values = true, conflicts_with_all = ["setup", "seen"])]
    pub stretch: Option<String>,
    /// Take out the error that the file itself has too, page by page, as inspect finds it; alone, or
    /// with what the printer does.
    #[arg(long)]
    pub and_file: bool,
    /// Which side is moved.
    #[arg(long, value_enum, default_value_t = On::Backs)]
    pub on: On,
    /// Which pages are backs: even, odd, second-half, last (one back for all), all, or 2,4,6-10.
    #[arg(long, default_value = "even", value_parser = backs)]
    pub backs: BackPages,
    /// The backs are in a file of their own: one page for each front, or one for all.
    #[arg(long, value_name = "BACKS.pdf", conflicts_with = "backs")]
    pub back_file: Option<PathBuf>,
    /// How the file means its backs, page against page: sideways (as in a book) or endways (as in
    /// a notepad).
    #[arg(long)]
    pub flip: Option<Flip>,
    /// Put the pages on this paper, at true size.
    #[arg(long)]
    pub paper: Option<Paper>,
    /// Where on the paper: the page's middle in its middle, or the middle of what is printed
    /// (trim marks and all).
    #[arg(long, value_enum, default_value_t = PlaceArg::Centre)]
    pub place: PlaceArg,
    /// Keep landscape pages landscape; the printing program turns them this way onto the sheet.
    #[arg(long, value_enum, value_name = "clockwise|anticlockwise")]
    pub driver_turns: Option<TurnArg>,
    /// The file's password.
    #[arg(long)]
    pub password: Option<String>,
    /// Yes, move things farther than 25 mm, or correct a file that was corrected before.
    #[arg(long)]
    pub yes_really: bool,
}

fn backs(text: &str) -> Result<BackPages, String> {
    text.parse()
        .map_err(|e: tympan_app::pages::PagesError| format!("{e}; {}", e.hint()))
}

/// Looking at a file.
#[derive(Args, Debug)]
pub(crate) struct Inspect {
    /// The file; or the fronts, where the backs are in a file of their own.
    #[arg(value_name = "FILE.pdf")]
    pub file: PathBuf,
    /// The backs, where they are in a file of their own.
    #[arg(value_name = "BACKS.pdf")]
    pub backs: Option<PathBuf>,
    /// The same, as correct has it.
    #[arg(long, value_name = "BACKS.pdf", conflicts_with = "backs")]
    pub back_file: Option<PathBuf>,
    /// Judge it for this set-up: its paper, its margins, its scatter.
    #[arg(long)]
    pub setup: Option<String>,
    /// Which pages are pairs: alternating, fronts-then-backs, backs-reversed, one-back, fold-over,
    /// one-sided, or pages like 1-2,3-4 (front-back).
    #[arg(long, value_parser = pairs)]
    pub pairs: Option<AskedPairs>,
    /// The paper that it is to be printed on.
    #[arg(long)]
    pub paper: Option<Paper>,
    /// The file's password.
    #[arg(long)]
    pub password: Option<String>,
}

fn pairs(text: &str) -> Result<AskedPairs, String> {
    text.parse()
        .map_err(|e: tympan_app::inspect::AskedError| format!("{e}; {}", e.hint()))
}

/// Which side is moved.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum On {
    /// The backs come to the fronts.
    Backs,
    /// The fronts come to the backs.
    Fronts,
    /// Each goes half the way.
    Both,
}

impl From<On> for Sides {
    fn from(on: On) -> Self {
        match on {
            On::Backs => Self::Backs,
            On::Fronts => Self::Fronts,
            On::Both => Self::Both,
        }
    }
}

/// Where on the paper.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum PlaceArg {
    /// The page's middle.
    Centre,
    /// The middle of what is printed.
    Marks,
}

impl From<PlaceArg> for Place {
    fn from(place: PlaceArg) -> Self {
        match place {
            PlaceArg::Centre => Self::Centre,
            PlaceArg::Marks => Self::Marks,
        }
    }
}

/// How a driver turns landscape pages.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum TurnArg {
    /// The page's head comes to the sheet's right edge.
    Clockwise,
    /// The page's head comes to the sheet's left edge.
    Anticlockwise,
}

impl From<TurnArg> for QuarterTurn {
    fn from(turn: TurnArg) -> Self {
        match turn {
            TurnArg::Clockwise => Self::Clockwise,
            TurnArg::Anticlockwise => Self::Anticlockwise,
        }
    }
}

/// Making a run, and what follows it.
#[derive(Args, Debug)]
pub(crate) struct Run {
    /// The PDF; several files of one job are put one after the other.
    #[arg(value_name = "IN.pdf", conflicts_with_all = ["again", "spoiled", "adjust", "undo", "started", "done", "of"])]
    pub inputs: Vec<PathBuf>,
    /// The folder to write; it must not exist.
    #[arg(short, long, value_name = "FOLDER")]
    pub output: Option<PathBuf>,
    /// The set-up that prints it.
    #[arg(long)]
    pub setup: Option<String>,
    /// The file is corrected for this set-up already, by correct or as it was laid out: do not
    /// correct it again.
    #[arg(long)]
    pub as_is: bool,
    /// How often the whole job is printed, each copy complete before the next.
    #[arg(long, default_value_t = 1)]
    pub copies: u32,
    /// The side to print first; the set-up's where nothing is said.
    #[arg(long, value_name = "front|back")]
    pub first: Option<Side>,
    /// When the second sides follow: after each load, or after all first sides.
    #[arg(long, value_enum, default_value_t = RunTurns::Load)]
    pub turns: RunTurns,
    /// The most sheets to put in at a time; worked out from the tray and the stock's thickness where
    /// nothing is said.
    #[arg(long, value_name = "SHEETS")]
    pub load: Option<u32>,
    /// Spare sheets; worked out from the set-up's scatter where nothing is said.
    #[arg(long, value_name = "SHEETS")]
    pub spares: Option<u32>,
    /// The bleed that the cards have, for the share of rejects to expect.
    #[arg(long, default_value = "3mm")]
    pub bleed: Length,
    /// Print no sheet numbers in the waste.
    #[arg(long)]
    pub no_numbers: bool,
    /// Which pages are backs: even, odd, second-half, last (one back for all), all, or 2,4,6-10.
    #[arg(long, default_value = "even", value_parser = backs)]
    pub backs: BackPages,
    /// The backs are in a file of their own: one page for each front, or one for all.
    #[arg(long, value_name = "BACKS.pdf", conflicts_with = "backs")]
    pub back_file: Option<PathBuf>,
    /// How the file means its backs, page against page: sideways (as in a book) or endways (as in
    /// a notepad).
    #[arg(long)]
    pub flip: Option<Flip>,
    /// Put the pages on the set-up's paper, at true size.
    #[arg(long)]
    pub paper: Option<Paper>,
    /// Where on the paper.
    #[arg(long, value_enum, default_value_t = PlaceArg::Centre)]
    pub place: PlaceArg,
    /// Which side the correction moves.
    #[arg(long, value_enum, default_value_t = On::Backs)]
    pub on: On,
    /// The file's password.
    #[arg(long)]
    pub password: Option<String>,
    /// Yes, move things farther than 25 mm, or correct a file that was corrected before.
    #[arg(long)]
    pub yes_really: bool,
    /// The run that follows is about; the newest where nothing is said.
    #[arg(long, value_name = "RUN")]
    pub of: Option<String>,
    /// Take out what is left on the make-ready sheet, looking at its back: "0.3mm low".
    #[arg(long, value_name = "WORDS", group = "follows")]
    pub adjust: Option<String>,
    /// Make these sheets again, such as 17-20 or 3,5.
    #[arg(long, value_name = "SHEETS", value_parser = sheets, group = "follows")]
    pub again: Option<Sheets>,
    /// Only this side of them: the other one is printed and good.
    #[arg(
        long,
        value_name = "front|back",
        requires = "again",
        conflicts_with = "stopped_in"
    )]
    pub only: Option<Side>,
    /// The pass of this side stopped at the sheet: make what is left of its load too.
    #[arg(long, value_name = "front|back", requires = "again")]
    pub stopped_in: Option<Side>,
    /// Note that these sheets are spoiled.
    #[arg(long, value_name = "SHEETS", value_parser = sheets, group = "follows")]
    pub spoiled: Option<Sheets>,
    /// Why: jam, misfeed, slipped, smeared, creased, wrong way, or your own words.
    #[arg(long, value_name = "REASON")]
    pub why: Option<String>,
    /// Note that paper moves: from now on the run cannot be undone.
    #[arg(long, group = "follows")]
    pub started: bool,
    /// Note that all sheets are printed.
    #[arg(long, group = "follows")]
    pub done: bool,
    /// Undo a run of which no paper has moved: take its files away.
    #[arg(long, group = "follows")]
    pub undo: bool,
}

/// Numbers of sheets.
#[derive(Clone, Debug)]
pub(crate) struct Sheets(pub Vec<u32>);

fn sheets(text: &str) -> Result<Sheets, String> {
    tympan_app::run::parse_sheets(text).map(Sheets)
}

/// When second sides follow.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum RunTurns {
    /// After the first sides of the same load.
    Load,
    /// After all first sides.
    Side,
}

/// Printing.
#[derive(Args, Debug)]
pub(crate) struct Print {
    /// The PDF: a pass of a run, or any other; its pages go one by one on sheets of their size.
    #[arg(required_unless_present_any = ["list", "abilities"])]
    pub file: Option<PathBuf>,
    /// The printer: its address (study-printer.local, 192.0.2.7, ipp://HOST/ipp/print, ipps://…)
    /// or its name on the network.
    #[arg(
        long,
        env = "TYMPAN_PRINTER",
        value_name = "ADDRESS",
        required_unless_present = "list"
    )]
    pub printer: Option<String>,
    /// List the printers on the network and the print queues of this machine.
    #[arg(long, conflicts_with_all = ["file", "abilities"])]
    pub list: bool,
    /// Say what the printer can do.
    #[arg(long, conflicts_with = "file")]
    pub abilities: bool,
    /// The set-up that the file was made for: its stock is told, its tray and media type are used.
    #[arg(long)]
    pub setup: Option<String>,
    /// Only these sheets: 17, 17-20 or 17-; counted from 1.
    #[arg(long, value_name = "SHEETS")]
    pub sheets: Option<Span>,
    /// Go on with this sheet.
    #[arg(long, value_name = "SHEET", conflicts_with = "sheets")]
    pub from_sheet: Option<usize>,
    /// The paper, where it is not plain from the pages.
    #[arg(long)]
    pub paper: Option<Paper>,
    /// Which sides the machine prints in this pass.
    #[arg(long, value_enum, default_value_t = SidesArg::One)]
    pub sides: SidesArg,
    /// The tray or path, in the printer's words: rear, by-pass-tray, tray-1.
    #[arg(long)]
    pub source: Option<String>,
    /// The type of media, in the printer's words: cardstock, stationery-heavyweight.
    #[arg(long = "type", value_name = "TYPE")]
    pub kind: Option<String>,
    /// How well.
    #[arg(long, value_enum)]
    pub quality: Option<QualityArg>,
    /// The tray that prints fall into, in the printer's words.
    #[arg(long, value_name = "BIN")]
    pub output_bin: Option<String>,
    /// Print in grey.
    #[arg(long)]
    pub grey: bool,
    /// Send pictures of the pages, though the printer takes PDF.
    #[arg(long)]
    pub as_raster: bool,
    /// The password that opens the PDF.
    #[arg(long)]
    pub password: Option<String>,
    /// The name for a printer that wants a password.
    #[arg(long, value_name = "NAME")]
    pub user: Option<String>,
    /// A file with the printer's password; asked for where none is given.
    #[arg(long, value_name = "FILE", requires = "user")]
    pub password_file: Option<PathBuf>,
    /// Take the printer's certificate with this fingerprint from now on.
    #[arg(long, value_name = "SHA256")]
    pub certificate: Option<Fingerprint>,
    /// Show what would be printed and print nothing.
    #[arg(long)]
    pub plan: bool,
    /// Print without asking.
    #[arg(long, conflicts_with = "plan")]
    pub yes: bool,
    /// How long a printer may stay silent or busy, in seconds; with --yes also how long it may stay
    /// out of paper or jammed.
    #[arg(long, value_name = "SECONDS", default_value_t = 120)]
    pub patience: u64,
}

/// Which sides the machine prints.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum SidesArg {
    /// One side.
    One,
    /// Both, turned about the long edge.
    LongEdge,
    /// Both, turned about the short edge.
    ShortEdge,
}

impl From<SidesArg> for PrintSides {
    fn from(sides: SidesArg) -> Self {
        match sides {
            SidesArg::One => Self::OneSided,
            SidesArg::LongEdge => Self::TwoSidedLongEdge,
            SidesArg::ShortEdge => Self::TwoSidedShortEdge,
        }
    }
}

/// How well to print.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum QualityArg {
    /// Fast.
    Draft,
    /// As usual.
    Normal,
    /// As well as the printer can.
    High,
}

impl From<QualityArg> for Quality {
    fn from(quality: QualityArg) -> Self {
        match quality {
            QualityArg::Draft => Self::Draft,
            QualityArg::Normal => Self::Normal,
            QualityArg::High => Self::High,
        }
    }
}

/// Converting stock.
#[derive(Args, Debug)]
pub(crate) struct StockArgs {
    /// What is on the wrapper: "65 lb cover", "300 gsm matt", "12 pt".
    #[arg(required_unless_present_any = ["keep_sheet", "sheets"])]
    pub stock: Vec<String>,
    /// Keep a pre-cut sheet by its measures, for `lay --stock-sheet`.
    #[arg(long, value_name = "SHEET.toml", conflicts_with = "stock")]
    pub keep_sheet: Option<PathBuf>,
    /// List the pre-cut sheets that are kept.
    #[arg(long, conflicts_with_all = ["stock", "keep_sheet"])]
    pub sheets: bool,
}

/// Looking through the log.
#[derive(Args, Debug)]
pub(crate) struct Log {
    /// The set-up's name.
    #[arg(long, required_unless_present_any = ["set_aside", "bring_back"])]
    pub setup: Option<String>,
    /// Leave this reading out from now on; it is kept.
    #[arg(long, value_name = "READING", requires = "why")]
    pub set_aside: Option<String>,
    /// Why it is set aside.
    #[arg(long, value_name = "REASON")]
    pub why: Option<String>,
    /// Use this reading again.
    #[arg(long, value_name = "READING", conflicts_with = "set_aside")]
    pub bring_back: Option<String>,
}

/// Writing the demo.
#[derive(Args, Debug)]
pub(crate) struct Demo {
    /// The folder to write; it must not exist.
    #[arg(value_name = "DIR")]
    pub folder: PathBuf,
}

/// Shell completions and the manual page.
#[derive(Args, Debug)]
pub(crate) struct Generate {
    /// What to print.
    #[arg(value_enum)]
    pub what: Generated,
}

/// What can be generated.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum Generated {
    /// The manual page.
    Man,
    /// Completions for bash.
    Bash,
    /// Completions for zsh.
    Zsh,
    /// Completions for fish.
    Fish,
    /// Completions for PowerShell.
    Powershell,
}
