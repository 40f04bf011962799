//! The rule booklet: eight A5 pages.

use tympan_pdf::draw::text_width;
use tympan_sheet::Size;
use tympan_sheet::drawing::{Drawing, Face, Path, Stroke};

use crate::board::board;
use crate::deck::deck;
use crate::motifs::{bell, ferry, glow, gull, heron, lantern, mixed, reeds};
use crate::palette::{BRICK, CREAM, DUSK, FOAM, INK, OCHRE, REED, SHALLOW, SLATE, TIDE};
use crate::sketch::{Sketch, heading, ripple, text, water};
use crate::suit::Suit;
use crate::tiles::tiles;

/// A page of the booklet, mm.
pub const RULES_PAGE: Size = Size::new(148.0, 210.0);

const MARGIN: f64 = 15.0;
const WIDTH: f64 = RULES_PAGE.w - 2.0 * MARGIN;
const SIZE: f64 = 3.9;
const LEADING: f64 = 5.7;

/// The eight pages in reading order.
pub fn rules() -> Vec<Drawing> {
    let mut pages = vec![cover()];
    pages.extend([
        the_game(),
        setting_up(),
        a_turn(),
        the_tide(),
        sailing(),
        the_end(),
        last_page(),
    ]);
    let count = pages.len();
    pages
        .into_iter()
        .zip(1..)
        .map(|(mut page, number)| {
            if number > 1 && number < count {
                let at = RULES_PAGE.w / 2.0;
                page.line(
                    ripple((at - 14.0, at - 10.0), 199.0, (0.5, 6.0, 0.0)),
                    SHALLOW,
                    0.5,
                );
                page.line(
                    ripple((at + 14.0, at + 18.0), 199.0, (0.5, 6.0, 0.0)),
                    SHALLOW,
                    0.5,
                );
                page.text(heading(at, 200.6, 4.4, INK, &number.to_string()).centred());
            }
            page.on_page(RULES_PAGE, 0.0)
        })
        .collect()
}

/// A page that text flows down.
struct Column {
    s: Sketch,
    y: f64,
}

impl Column {
    fn new(title: &str) -> Self {
        let mut s = Sketch::new();
        s.text(heading(MARGIN, 27.0, 9.5, INK, title));
        let shape = (0.7, 9.0, 0.0);
        let mut line = Sketch::new();
        line.line(ripple((MARGIN, MARGIN + WIDTH), 33.0, shape), SHALLOW, 0.7);
        s.clipped(line, Path::rect(MARGIN, 30.0, WIDTH, 6.0));
        Self { s, y: 42.0 }
    }

    fn lines(&mut self, what: &str, indent: f64) {
        for line in wrapped(what, WIDTH - indent) {
            self.s.text(text(MARGIN + indent, self.y, SIZE, INK, &line));
            self.y += LEADING;
        }
    }

    fn say(&mut self, what: &str) {
        self.lines(what, 0.0);
        self.y += 2.2;
    }

    fn point(&mut self, what: &str) {
        self.s.disc(MARGIN + 1.6, self.y - 1.35, 0.9, BRICK);
        self.lines(what, 5.5);
        self.y += 1.4;
    }

    fn step(&mut self, number: u32, what: &str) {
        self.s.disc(MARGIN + 2.8, self.y - 1.4, 2.8, TIDE);
        let figure = heading(MARGIN + 2.8, self.y + 0.05, 4.0, CREAM, &number.to_string());
        self.s.text(figure.centred());
        self.lines(what, 9.0);
        self.y += 2.2;
    }

    fn part(&mut self, title: &str) {
        self.y += 3.2;
        self.s.text(heading(MARGIN, self.y, 5.2, BRICK, title));
        self.y += 6.8;
    }
}

/// The text broken into lines of at most `width` mm.
fn wrapped(what: &str, width: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in what.split_whitespace() {
        match lines.last_mut() {
            Some(line) if text_width(&format!("{line} {word}"), SIZE, Face::Text) <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

fn cover() -> Sketch {
    let mut s = Sketch::new();
    let (w, h) = (RULES_PAGE.w, RULES_PAGE.h);
    s.fill(Path::rect(0.0, 0.0, w, h), DUSK);
    s.put(glow(30.0, DUSK), 104.0, 66.0, 1.0);
    s.disc(104.0, 66.0, 15.0, CREAM);
    for (x, y) in [
        (118.0, 14.0),
        (61.0, 74.0),
        (132.0, 26.0),
        (30.0, 92.0),
        (75.0, 100.0),
        (138.0, 104.0),
    ] {
        s.disc(x, y, 0.7, CREAM);
    }
    s.put(gull(CREAM), 40.0, 104.0, 1.6);
    s.put(gull(CREAM), 54.0, 111.0, 1.1);
    s.text(heading(14.0, 36.0, 19.5, CREAM, "Saltmarsh"));
    s.text(heading(14.0, 55.0, 19.5, CREAM, "Ferry"));
    let colours = [
        SLATE,
        SHALLOW,
        mixed(SHALLOW, TIDE, 0.55),
        TIDE,
        mixed(TIDE, INK, 0.35),
        mixed(TIDE, INK, 0.65),
    ];
    for (i, colour) in colours.into_iter().enumerate() {
        let far = i as f64;
        let y = 122.0 + 14.0 * far;
        let shape = (1.6 + 0.6 * far, 26.0 + 5.0 * far, 0.37 * far);
        let mut sea = Sketch::new();
        sea.fill(water((0.0, w), (y, h + 20.0), shape), colour);
        sea.line(
            ripple((0.0, w), y + 2.4, shape),
            mixed(colour, FOAM, 0.5),
            0.5,
        );
        s.clipped(sea, Path::rect(0.0, 0.0, w, h));
        if i == 1 {
            s.put(ferry(BRICK), 58.0, y + 9.0, 1.75);
        }
        if i == 4 {
            s.put(reeds(), 124.0, 206.0, 1.9);
            s.put(reeds(), 138.0, 212.0, 1.4);
        }
    }
    s.text(text(
        14.0,
        194.0,
        4.6,
        CREAM,
        "The tide goes out, the tide comes in,",
    ));
    s.text(text(
        14.0,
        200.4,
        4.6,
        CREAM,
        "and the lanterns must be lit by dark.",
    ));
    s
}

fn the_game() -> Sketch {
    let mut c = Column::new("The game");
    c.say("Eight villages lie around the saltmarsh, and no road goes between them. Everything comes by ferry: rushes for the thatchers, ropes for the bells, oil for the lanterns, and letters for the people who count the herons.");
    c.say("You are the skipper of a ferry. Every card that is played moves the tide: a channel fills, another falls dry, and the way home may not be the way you came. Deliver to the four shores before the last card is drawn.");
    c.say("For 2 to 4 skippers from 8 years. About 40 minutes.");
    c.part("What is in the box");
    for what in [
        "1 board with 24 squares and 8 villages",
        "24 tiles: high water on one side, low water on the other",
        "48 hour cards: 1 to 12 of Reeds, Bells, Lanterns and Herons",
        "2 tide cards: Spring tide and Neap tide",
        "4 ferry cards: Avocet, Curlew, Dunlin and Sandpiper",
    ] {
        c.point(what);
    }
    c.say("You also need one pawn, pebble or shell for each skipper.");
    for (i, suit) in Suit::ALL.into_iter().enumerate() {
        let x = MARGIN + 13.0 + 30.6 * i as f64;
        c.s.put(suit.sign(), x, 184.0, 1.5);
    }
    c.s
}

fn setting_up() -> Sketch {
    let mut c = Column::new("Setting up");
    c.step(1, "Lay out the board. Shuffle the tiles and put one on every square, high water up, any way round.");
    c.step(2, "Shuffle the four ferry cards and give one to each skipper. Lay it before you with the boat up and read aloud what it may do. Put the others back in the box.");
    c.step(3, "Shuffle the hour cards and the tide cards together. Deal five to each skipper, and put the rest face down: this is the stack.");
    c.step(4, "Turn up the top card of the stack beside it. If it is a tide card, put it under the stack and turn up another. This is the tide pile.");
    c.step(5, "Begin with the youngest and go round: put your pawn on a village where no other pawn stands. Then the youngest plays first.");
    let (x, y, scale) = (MARGIN + 6.5, 118.0, 0.26);
    c.s.place(
        as_sketch(&board()),
        tympan_sheet::Affine::new(scale, 0.0, 0.0, scale, x, y),
    );
    c.s.stroke(
        Path::rect(x, y, 406.0 * scale, 286.0 * scale),
        Stroke::solid(INK, 0.4),
    );
    c.s
}

fn as_sketch(drawing: &Drawing) -> Sketch {
    let mut s = Sketch::new();
    s.append(drawing);
    s
}

fn pieces(c: &mut Column, names: &[&str], y: f64, scale: f64) {
    let all = deck();
    let step = WIDTH / names.len() as f64;
    for (i, name) in names.iter().enumerate() {
        if let Some(card) = all.iter().find(|card| card.name == *name) {
            let x = MARGIN + step * (i as f64 + 0.5) - card.trim.w * scale / 2.0;
            show(c, &card.front, card.bleed, (x, y), scale, card.corner);
        }
    }
}

/// A piece as it looks once cut.
fn show(c: &mut Column, side: &Drawing, bleed: f64, (x, y): (f64, f64), scale: f64, corner: f64) {
    let (w, h) = (side.size.w - 2.0 * bleed, side.size.h - 2.0 * bleed);
    let edge = Path::rounded_rect(bleed, bleed, w, h, corner);
    let mut piece = Sketch::new();
    piece.clipped(as_sketch(side), edge.clone());
    piece.stroke(edge, Stroke::solid(INK, 0.3 / scale));
    c.s.put(piece, x - bleed * scale, y - bleed * scale, scale);
}

fn a_turn() -> Sketch {
    let mut c = Column::new("Your turn");
    c.say("In your turn do these things in this order. Then the skipper on your left has a turn.");
    c.step(1, "Play a card. Lay one card from your hand face up on the tide pile. The tide moves (page 5).");
    c.step(
        2,
        "Sail. Move your pawn as far as you like along water that joins, or let it lie (page 6).",
    );
    c.step(3, "Deliver. If your pawn is in a village, you may deliver there one card of the village’s own shore from your hand: put it face down before you.");
    c.step(4, "Draw. Fill your hand to five cards from the stack.");
    c.say("You may deliver to each village once in the game, so remember which you have served: turn the card so that its head points to that village.");
    pieces(
        &mut c,
        &["Reeds 3", "Bells 8", "Lanterns 11", "Herons 6"],
        133.0,
        0.44,
    );
    c.s
}

fn the_tide() -> Sketch {
    let mut c = Column::new("The tide");
    c.say("Every hour card names one square of the board: its shore is the row, its hour the column. Bells 8 names the fourth square in the row of the Bells.");
    c.say("Compare its hour with the card that it covers.");
    c.point("Later: the tide comes in. Turn the tile on the square that it names to high water.");
    c.point("Earlier: the tide goes out. Turn that tile to low water.");
    c.point(
        "The same hour: slack water. Turn nothing, but draw one more card at the end of your turn.",
    );
    c.say("If the tile lies the right way already, it stays. Turn a tile over from side to side, like the page of a book. A pawn on it stays there, afloat or aground.");
    c.part("Spring tide and Neap tide");
    c.say("Say the name of a shore. With Spring tide turn all six tiles in its row to high water, with Neap tide to low water. Then lay the card under the stack, and do not compare: the tide pile stays as it was.");
    pieces(&mut c, &["Spring tide", "Neap tide"], 148.0, 0.48);
    c.s
}

fn sailing() -> Sketch {
    let mut c = Column::new("Sailing");
    c.say("A ferry goes from tile to tile where the water on both runs out over the edge between them. It goes as far as its skipper likes, and may pass other ferries.");
    c.say("It enters and leaves a village over the landing stage, if the water on the tile beside the stage runs out over that edge.");
    c.point("On a tile whose water has no way out, you lie aground until the tide comes in there.");
    c.point("A ferry may stop on any tile. Two ferries may share one.");
    c.point("If you cannot sail and cannot deliver, you may put back one card from your hand under the stack and draw another.");
    let all = tiles();
    for (i, (number, low)) in [(17, false), (17, true), (4, false), (4, true)]
        .into_iter()
        .enumerate()
    {
        let tile = &all[number - 1];
        let x = MARGIN + 2.0 + 29.5 * i as f64;
        let side = if low { &tile.back } else { &tile.front };
        show(&mut c, side, tile.bleed, (x, 112.0), 0.56, tile.corner);
        let label = if low { "low water" } else { "high water" };
        c.s.text(text(x + 12.6, 142.5, 3.4, INK, label).centred());
    }
    let note = "Tile 17 joins three squares at high water and two at low water. Tile 4 falls dry.";
    c.y = 153.0;
    c.say(note);
    c.s.put(ferry(REED), RULES_PAGE.w / 2.0, 188.0, 0.55);
    c.s
}

fn the_end() -> Sketch {
    let mut c = Column::new("The end");
    c.say("When the last card of the stack is drawn, every skipper, the one who drew it too, has one turn more. Then turn up your deliveries and count.");
    c.point("1 point for each delivery.");
    c.point("3 points more if you delivered to all four shores.");
    c.point("2 points more for each shore where you served both villages.");
    c.point("2 points less if your pawn lies aground.");
    c.say("The skipper with the most points wins. If two have the same, the one whose deliveries have the later hours in sum.");
    c.part("With two skippers");
    c.say("Take two ferry cards each. You still have one pawn, but in each of your turns you may use what one or the other ferry may do, not both.");
    c.part("A longer day");
    c.say("When the stack is empty for the first time, shuffle the tide pile, all but its top card, and go on until the stack is empty again.");
    c.s.put(heron(), 34.0, 188.0, 0.62);
    c.s.put(lantern(), 118.0, 188.0, 0.6);
    c.s
}

fn last_page() -> Sketch {
    let mut s = Sketch::new();
    let (w, h) = (RULES_PAGE.w, RULES_PAGE.h);
    s.fill(Path::rect(0.0, 0.0, w, h), DUSK);
    let mut c = Sketch::new();
    c.fill(Path::rounded_rect(14.0, 18.0, w - 28.0, 96.0, 4.0), CREAM);
    c.text(heading(22.0, 32.0, 7.4, INK, "A turn, in short"));
    for (i, (what, more)) in [
        ("Play", "a card: later floods, earlier drains."),
        ("Sail", "as far as the water joins."),
        ("Deliver", "one card of the village’s own shore."),
        ("Draw", "to five cards. Same hour: one more."),
    ]
    .into_iter()
    .enumerate()
    {
        let y = 45.0 + 11.0 * i as f64;
        c.disc(26.0, y - 1.6, 4.0, [TIDE, BRICK, REED, OCHRE][i]);
        c.text(heading(26.0, y + 0.1, 5.0, CREAM, &(i + 1).to_string()).centred());
        c.text(heading(33.0, y, 5.0, INK, what));
        c.text(text(53.0, y, SIZE, INK, more));
    }
    c.text(text(
        22.0,
        94.0,
        SIZE,
        INK,
        "Delivery 1 · all four shores 3 · both villages of a shore 2",
    ));
    for (i, suit) in Suit::ALL.into_iter().enumerate() {
        c.put(suit.sign(), 27.0 + 14.0 * i as f64, 104.5, 0.9);
    }
    s.put(c, 0.0, 0.0, 1.0);
    for (i, colour) in [SLATE, SHALLOW, TIDE, mixed(TIDE, INK, 0.5)]
        .into_iter()
        .enumerate()
    {
        let far = i as f64;
        let y = 142.0 + 15.0 * far;
        let mut sea = Sketch::new();
        sea.fill(
            water(
                (0.0, w),
                (y, h + 20.0),
                (1.6 + 0.5 * far, 26.0 + 6.0 * far, 0.3 * far),
            ),
            colour,
        );
        s.clipped(sea, Path::rect(0.0, 0.0, w, h));
        if i == 0 {
            s.put(bell(), 108.0, y + 12.0, 0.95);
        }
    }
    let names = "Saltmarsh Ferry is an invented game, free to print and to play.";
    s.text(text(w / 2.0, 203.0, 3.2, CREAM, names).centred());
    s
}
