//! The options of `lay`.

use std::path::PathBuf;

use clap::Args;
use tympan_app::inspect::AskedPairs;
use tympan_app::lay::{
    BleedBy, CutBy, EdgesAsked, Fit, Job, Marks, Order, SeenOnSheet, ShapeAsked, Source,
    StandingAsked,
};
use tympan_app::sheet::{Flip, Length, Paper};

/// Laying cards out afresh.
#[derive(Args, Debug)]
pub(crate) struct Lay {
    /// Where the cards come from, in the deck's order: PDFs, folders of pictures, deck lists (CSV
    /// or JSON), single pictures.
    #[arg(value_name = "SOURCE")]
    pub sources: Vec<PathBuf>,
    /// The PDF to write; it must not exist.
    #[arg(short, long, value_name = "OUT.pdf", required_unless_present = "show")]
    pub output: Option<PathBuf>,
    /// A job file that says all this and more; options go before it.
    #[arg(long, value_name = "JOB.toml")]
    pub job: Option<PathBuf>,
    /// Only tell the best few plans, and write nothing.
    #[arg(long)]
    pub show: bool,
    /// Take this one of the plans that --show tells.
    #[arg(long, value_name = "NUMBER")]
    pub plan: Option<usize>,
    /// The set-up that it is to be printed on: its paper, margins, flip, scatter and correction.
    #[arg(long)]
    pub setup: Option<String>,
    /// The paper, where it is not the set-up's or the file's own.
    #[arg(long)]
    pub paper: Option<Paper>,
    /// How the back stands to the front of a sheet, where no set-up tells: sideways or endways.
    #[arg(long)]
    pub flip: Option<Flip>,
    /// Size and shape after cutting: poker, bridge, 57x87mm, "circle 30mm", "hexagon 40mm".
    #[arg(long, value_name = "SHAPE")]
    pub card: Option<ShapeAsked>,
    /// Radius of the corners.
    #[arg(long, value_name = "LENGTH")]
    pub corners: Option<Length>,
    /// Picture beyond the cut.
    #[arg(long, value_name = "LENGTH")]
    pub bleed: Option<Length>,
    /// How bleed is made where there is too little: keep, mirror, stretch, colour, enlarge, or outwards
    /// (from the middle: for round pictures).
    #[arg(long, value_name = "WAY")]
    pub bleed_by: Option<BleedBy>,
    /// The pictures already go this far beyond the cut.
    #[arg(long, value_name = "LENGTH")]
    pub bleed_within: Option<Length>,
    /// Nothing that matters on the cards is nearer to the cut: good cards are told by that.
    #[arg(long, value_name = "LENGTH")]
    pub safe: Option<Length>,
    /// Paint a border of this width around every card, over what is there.
    #[arg(long, value_name = "LENGTH")]
    pub thicken_border: Option<Length>,
    /// Do not use what lies around the cards in their files, such as old crop marks, as bleed.
    #[arg(long)]
    pub drop_bleed: bool,
    /// What the cards show at their edges: bled, alike (one colour on all of them), or "border
    /// 3mm".
    #[arg(long, value_name = "WORDS")]
    pub edges: Option<EdgesAsked>,
    /// Blank between cards; 0 where neighbours share a cut.
    #[arg(long, value_name = "LENGTH")]
    pub gutter: Option<Length>,
    /// What the printer cannot print, at every edge.
    #[arg(long, value_name = "LENGTH")]
    pub margins: Option<Length>,
    /// How the sheets are cut: straight (through the whole sheet) or around (every piece).
    #[arg(long, value_name = "WAY")]
    pub cut: Option<CutBy>,
    /// What shows where to cut: corners, edges, lines or none.
    #[arg(long, value_name = "KIND")]
    pub marks: Option<Marks>,
    /// Marks on the backs too.
    #[arg(long)]
    pub marks_on_backs: bool,
    /// Print alignment crosses for a cutting machine, with --cuts; cards that are cut around have
    /// them anyway.
    #[arg(long)]
    pub crosses: bool,
    /// Show where corners are to be rounded.
    #[arg(long)]
    pub round_corners: bool,
    /// What is done with pictures of other proportions: refuse, whole, fill or distort.
    #[arg(long, value_name = "WAY")]
    pub fit: Option<Fit>,
    /// The back of all cards that have none of their own.
    #[arg(long, value_name = "PICTURE")]
    pub back: Option<String>,
    /// How backs stand to fronts: "head to head" or "head to foot".
    #[arg(long, value_name = "WORDS")]
    pub standing: Option<StandingAsked>,
    /// Print fronts only.
    #[arg(long)]
    pub one_sided: bool,
    /// The back of cards that have none, such as a common filler for sleeves.
    #[arg(long, value_name = "PICTURE")]
    pub filler: Option<PathBuf>,
    /// A sheet that is perforated or die-cut already: one that `stock --keep-sheet` has kept, or a file
    /// of its measures.
    #[arg(long, value_name = "NAME")]
    pub stock_sheet: Option<String>,
    /// Where the fronts' print lies on the sheet against its edges, looking at the front: "1mm low,
    /// 0.5mm left". Both sides are then put right against the edges.
    #[arg(long, value_name = "WORDS")]
    pub fronts_seen: Option<SeenOnSheet>,
    /// The same of the backs, looking at the back, where no set-up tells.
    #[arg(long, value_name = "WORDS")]
    pub backs_seen: Option<SeenOnSheet>,
    /// Front and back side by side on one face of the sheet, to be folded and glued.
    #[arg(long)]
    pub fold_over: bool,
    /// Marks in the waste, by which finished sheets can be read.
    #[arg(long)]
    pub witness: bool,
    /// The order on the sheets: piles (cut piles come together in the deck's order) or rows.
    #[arg(long, value_name = "ORDER")]
    pub order: Option<Order>,
    /// So many of each card.
    #[arg(long, value_name = "NUMBER")]
    pub copies: Option<u32>,
    /// Only this card, by its name, once for each time it is said: for reprinting spoiled ones.
    #[arg(long, value_name = "NAME")]
    pub only: Vec<String>,
    /// Write the cutting order (PDF), and the cut lines as SVG and DXF, into this folder.
    #[arg(long, value_name = "DIR")]
    pub cuts: Option<PathBuf>,
    /// The backs are in a file of their own.
    #[arg(long, value_name = "BACKS.pdf")]
    pub back_file: Option<PathBuf>,
    /// Which pages of a PDF are pairs, as inspect has it.
    #[arg(long, value_parser = super::pairs)]
    pub pairs: Option<AskedPairs>,
    /// The files' password.
    #[arg(long)]
    pub password: Option<String>,
}

impl Lay {
    /// Lays the options over a job.
    pub(crate) fn over(&self, mut job: Job) -> Job {
        for path in &self.sources {
            job.sources.push(Source {
                card: None,
                ..Source::of_path(path)
            });
        }
        for source in &mut job.sources {
            let of_pdf = source.file.is_some();
            put(&mut source.back, &self.back);
            put(&mut source.copies, &self.copies);
            put(&mut source.standing, &self.standing);
            put(&mut source.bleed_within, &self.bleed_within);
            put(&mut source.password, &self.password);
            if of_pdf {
                put(&mut source.pairs, &self.pairs);
                put(&mut source.back_file, &self.back_file);
            }
        }
        put(&mut job.setup, &self.setup);
        put(&mut job.paper, &self.paper);
        put(&mut job.card, &self.card);
        put(&mut job.corners, &self.corners);
        put(&mut job.bleed, &self.bleed);
        put(&mut job.bleed_by, &self.bleed_by);
        put(&mut job.edges, &self.edges);
        put(&mut job.flip, &self.flip);
        put(&mut job.gutter, &self.gutter);
        put(&mut job.margins, &self.margins);
        put(&mut job.cut, &self.cut);
        put(&mut job.marks, &self.marks);
        put(&mut job.fit, &self.fit);
        put(&mut job.filler, &self.filler);
        put(&mut job.stock_sheet, &self.stock_sheet);
        put(&mut job.fronts_seen, &self.fronts_seen);
        put(&mut job.backs_seen, &self.backs_seen);
        put(&mut job.order, &self.order);
        put(&mut job.plan, &self.plan);
        put(&mut job.safe, &self.safe);
        put(&mut job.thicken_border, &self.thicken_border);
        job.drop_bleed |= self.drop_bleed;
        job.crosses |= self.crosses;
        job.marks_on_backs |= self.marks_on_backs;
        job.round_corners |= self.round_corners;
        job.one_sided |= self.one_sided;
        job.fold_over |= self.fold_over;
        job.witness |= self.witness;
        if !self.only.is_empty() {
            job.only.clone_from(&self.only);
        }
        job
    }
}

fn put<T: Clone>(slot: &mut Option<T>, said: &Option<T>) {
    if said.is_some() {
        slot.clone_from(said);
    }
}
