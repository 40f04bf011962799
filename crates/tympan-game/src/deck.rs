//! The 54 cards: twelve hours on each of four shores, two tides, and four ferries whose backs
//! differ from the others'.

use tympan_sheet::drawing::Drawing;
use tympan_sheet::drawing::{Anchor, Colour, Path};
use tympan_sheet::{Affine, Size};

use crate::motifs::{ferry, glow, gull, heron, house, mixed, moon, reeds, tuft};
use crate::palette::{
    BRICK, CREAM, DUSK, FOAM, GLOW, GRASS, INK, MUD, OCHRE, PEAT, REED, SAND, SHALLOW, SLATE, TIDE,
};
use crate::piece::Piece;
use crate::sketch::{Sketch, anchored, curve, heading, ripple, text, water};
use crate::suit::Suit;

/// A poker card, trimmed, mm.
pub const CARD: Size = Size::new(63.5, 88.9);
/// How far a card's picture goes on beyond the trim, mm.
pub const BLEED: f64 = 3.0;
/// The radius of a card's corners, mm.
pub const CORNER: f64 = 3.2;

const LEFT: f64 = -BLEED;
const RIGHT: f64 = CARD.w + BLEED;
const TOP: f64 = -BLEED;
const BOTTOM: f64 = CARD.h + BLEED;

/// The whole deck: the hours of each shore, then the tides, then the ferries.
pub fn deck() -> Vec<Piece> {
    let mut cards = Vec::with_capacity(54);
    for suit in Suit::ALL {
        for hour in 1..=12 {
            let name = format!("{} {hour}", suit.name());
            cards.push(card(name, hour_card(suit, hour), common_back()));
        }
    }
    cards.push(card("Spring tide".into(), spring_tide(), common_back()));
    cards.push(card("Neap tide".into(), neap_tide(), common_back()));
    for boat in &FERRIES {
        cards.push(card(boat.name.into(), ferry_card(boat), ferry_back(boat)));
    }
    cards
}

fn card(name: String, front: Sketch, back: Sketch) -> Piece {
    let page = |side: Sketch| -> Drawing { side.on_page(CARD, BLEED) };
    Piece {
        name,
        trim: CARD,
        bleed: BLEED,
        corner: CORNER,
        front: page(front),
        back: page(back),
    }
}

/// A rectangle over the whole width, bleed included.
fn band(y: f64, to: f64) -> Path {
    Path::rect(LEFT, y, RIGHT - LEFT, to - y)
}

/// One hour of one shore. The water in the picture stands as high as the hour is late.
fn hour_card(suit: Suit, hour: u32) -> Sketch {
    let late = f64::from(hour - 1) / 11.0;
    let level = 74.0 - 16.0 * late;
    let (sky, print) = (suit.sky(), suit.on_sky());
    let night = suit == Suit::Lanterns;
    let shade = |c: Colour| if night { mixed(c, DUSK, 0.66) } else { c };

    let mut s = Sketch::new();
    s.fill(band(TOP, BOTTOM), sky);
    let (x, y) = (
        28.0 + 27.0 * late,
        21.0 - 9.0 * (late * std::f64::consts::PI).sin(),
    );
    if night {
        for (x, y) in [
            (30.0, 9.0),
            (41.0, 27.0),
            (55.5, 35.0),
            (9.0, 45.0),
            (24.5, 33.0),
            (60.5, 6.0),
        ] {
            s.disc(x, y, 0.45, CREAM);
        }
        s.put(moon(4.6, sky), x, y, 1.0);
    } else {
        s.disc(x, y, 5.6, mixed(sky, GLOW, 0.7));
        s.disc(x, y, 4.2, if suit == Suit::Herons { CREAM } else { OCHRE });
        let gulls = if suit == Suit::Bells {
            [(52.0, 38.0, 0.9), (45.0, 42.0, 0.7)]
        } else {
            [(12.0, 42.0, 0.9), (18.0, 45.5, 0.7)]
        };
        for (x, y, scale) in gulls {
            s.put(gull(mixed(sky, INK, 0.7)), x, y, scale);
        }
    }
    if night {
        s.put(glow(15.0, sky), 39.0, 41.0, 1.0);
    }
    land(&mut s, 52.0, &shade);
    mud(&mut s, level, late, &shade);

    let afloat = suit == Suit::Bells;
    let stands = if afloat { level + 2.5 } else { 78.0 };
    let (x, scale) = match suit {
        Suit::Reeds => (35.0, 1.24),
        Suit::Bells => (36.0, 1.0),
        Suit::Lanterns => (34.6, 1.12),
        Suit::Herons => (31.0, 1.18),
    };
    s.put(suit.picture(), x, stands, scale);
    tide_staff(&mut s, 55.0);
    let deep = shade(TIDE);
    s.fill(
        water(
            (LEFT, RIGHT),
            (level + 1.2, BOTTOM),
            (0.7, 13.0, 0.2 + late),
        ),
        shade(SHALLOW),
    );
    s.fill(
        water(
            (LEFT, RIGHT),
            (level + 4.0, BOTTOM),
            (0.8, 16.0, 0.7 - late),
        ),
        deep,
    );
    let crest = mixed(deep, FOAM, 0.55);
    for (i, y) in [level + 8.0, level + 12.5, level + 17.0, level + 21.5]
        .into_iter()
        .enumerate()
    {
        let far = i as f64;
        let from = [7.0, 30.0, 3.0, 22.0][i];
        let path = ripple(
            (from + 6.0, from + 9.0 + 3.0 * (far % 2.0)),
            y,
            (0.5, 6.0, 0.0),
        );
        if y < BOTTOM - 12.0 {
            s.line(path, crest, 0.4);
        }
    }
    corner(&mut s, suit, hour, print);
    let mut turned = Sketch::new();
    let figure = heading(5.0, 13.2, 11.0, CREAM, &hour.to_string());
    turned.text(figure);
    turned_about_centre(&mut s, turned);
    s.text(text(
        5.2,
        84.2,
        2.7,
        CREAM,
        &format!("{}, {} hour", suit.name(), ordinal(hour)),
    ));
    s
}

/// The far shore.
fn land(s: &mut Sketch, y: f64, shade: &dyn Fn(Colour) -> Colour) {
    let far = [
        (LEFT, y),
        (LEFT, y - 2.6),
        (6.0, y - 3.4),
        (17.0, y - 1.8),
        (30.0, y - 3.8),
        (44.0, y - 2.0),
        (56.0, y - 4.4),
        (RIGHT, y - 3.2),
        (RIGHT, y),
    ];
    s.fill(Path::polygon(&far), shade(GRASS));
    let near = [
        (LEFT, y + 1.5),
        (LEFT, y - 0.4),
        (12.0, y - 1.2),
        (27.0, y + 0.1),
        (40.0, y - 1.0),
        (RIGHT, y - 0.2),
        (RIGHT, y + 1.5),
    ];
    s.fill(Path::polygon(&near), shade(REED));
    for x in [9.5, 13.0, 47.5] {
        s.put(house(shade(CREAM), shade(BRICK)), x, y - 0.4, 0.16);
    }
}

/// The flats, with the lines that earlier tides have left.
fn mud(s: &mut Sketch, level: f64, late: f64, shade: &dyn Fn(Colour) -> Colour) {
    s.fill(band(52.6, BOTTOM), shade(SAND));
    s.fill(
        water((LEFT, RIGHT), (57.5, BOTTOM), (0.6, 34.0, 0.3)),
        shade(mixed(SAND, MUD, 0.5)),
    );
    s.fill(
        water((LEFT, RIGHT), (64.5, BOTTOM), (0.8, 41.0, 0.8)),
        shade(MUD),
    );
    let mut y = 55.0;
    let mut phase = 0.15 + late;
    while y < level - 1.0 {
        s.line(
            ripple((LEFT, RIGHT), y, (0.35, 21.0, phase)),
            shade(mixed(SAND, PEAT, 0.28)),
            0.22,
        );
        y += 2.9;
        phase += 0.37;
    }
    for (x, y) in [(8.0, 60.0), (49.0, 57.0), (20.0, 67.0)] {
        s.put(tuft(shade(REED)), x, y, 0.62);
    }
}

/// A post with a mark for each hour.
fn tide_staff(s: &mut Sketch, x: f64) {
    s.fill(Path::rect(x, 52.5, 2.4, 40.0), CREAM);
    for i in 0..12 {
        let y = 58.0 + 16.0 * f64::from(i) / 11.0;
        if i % 2 == 0 {
            s.fill(Path::rect(x, y - 0.72, 2.4, 1.44), BRICK);
        }
    }
    s.fill(Path::rounded_rect(x - 0.5, 51.2, 3.4, 1.8, 0.6), INK);
}

fn corner(s: &mut Sketch, suit: Suit, hour: u32, print: Colour) {
    s.text(heading(4.6, 18.8, 19.0, print, &hour.to_string()));
    s.put(suit.sign(), 10.2, 26.4, 1.0);
}

fn turned_about_centre(s: &mut Sketch, turned: Sketch) {
    s.place(turned, Affine::new(-1.0, 0.0, 0.0, -1.0, CARD.w, CARD.h));
}

fn ordinal(hour: u32) -> &'static str {
    [
        "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth",
        "tenth", "eleventh", "twelfth",
    ][hour as usize - 1]
}

fn spring_tide() -> Sketch {
    let mut s = Sketch::new();
    s.fill(band(TOP, BOTTOM), DUSK);
    let sky = DUSK;
    s.put(glow(19.0, sky), 31.75, 32.0, 1.0);
    s.disc(31.75, 32.0, 10.5, CREAM);
    for (x, y, r) in [(28.0, 29.0, 1.9), (35.0, 35.5, 2.5), (34.5, 27.0, 1.1)] {
        s.disc(x, y, r, mixed(CREAM, SAND, 0.8));
    }
    for (i, colour) in [
        mixed(DUSK, SLATE, 0.6),
        SLATE,
        SHALLOW,
        mixed(SHALLOW, TIDE, 0.5),
        TIDE,
        mixed(TIDE, INK, 0.4),
    ]
    .into_iter()
    .enumerate()
    {
        let far = i as f64;
        let y = 45.0 + 6.6 * far;
        let shape = (1.0 + 0.35 * far, 15.0 + 3.0 * far, 0.31 * far);
        s.fill(water((LEFT, RIGHT), (y, BOTTOM), shape), colour);
        s.line(
            ripple((LEFT, RIGHT), y + 1.4, shape),
            mixed(colour, FOAM, 0.5),
            0.3,
        );
        if i == 2 {
            s.put(ferry(BRICK), 33.0, y + 5.0, 0.72);
        }
    }
    tide_title(&mut s, "Spring tide", "The whole row floods.");
    s
}

fn neap_tide() -> Sketch {
    let mut s = Sketch::new();
    let sky = mixed(CREAM, FOAM, 0.6);
    s.fill(band(TOP, BOTTOM), sky);
    s.disc(31.75, 30.0, 10.5, mixed(sky, SLATE, 0.3));
    let half = curve((31.75, 19.5), (45.75, 19.5), (45.75, 40.5), (31.75, 40.5));
    s.fill(half, CREAM);
    land(&mut s, 50.0, &|c| c);
    s.fill(band(50.6, BOTTOM), SAND);
    s.fill(
        water((LEFT, RIGHT), (57.0, BOTTOM), (0.9, 44.0, 0.2)),
        mixed(SAND, MUD, 0.55),
    );
    s.fill(water((LEFT, RIGHT), (67.0, BOTTOM), (1.0, 52.0, 0.7)), MUD);
    for i in 0..12 {
        let far = f64::from(i);
        s.line(
            ripple((LEFT, RIGHT), 54.0 + 2.7 * far, (0.4, 24.0, 0.37 * far)),
            mixed(SAND, PEAT, 0.4),
            0.22,
        );
    }
    let pool = Path::ellipse(19.0, 74.6, 11.0, 1.7);
    s.fill(pool, SHALLOW);
    s.line(
        curve((12.0, 74.4), (15.0, 73.8), (18.0, 74.0), (21.0, 74.5)),
        FOAM,
        0.4,
    );
    let mut boat = Sketch::new();
    boat.place(
        ferry(REED),
        Affine::new(0.985, 0.17, -0.17, 0.985, 0.0, 0.0),
    );
    s.put(boat, 38.5, 69.0, 0.78);
    s.put(heron(), 10.5, 72.0, 0.44);
    for (x, y) in [(57.0, 59.0), (20.0, 60.0), (59.0, 74.0)] {
        s.put(tuft(REED), x, y, 0.8);
    }
    tide_title(&mut s, "Neap tide", "The whole row falls dry.");
    s
}

fn tide_title(s: &mut Sketch, title: &str, rule: &str) {
    s.fill(Path::rounded_rect(4.5, 4.5, 54.5, 11.6, 2.4), CREAM);
    s.text(heading(31.75, 12.5, 7.4, INK, title).centred());
    s.fill(Path::rounded_rect(4.5, 78.4, 54.5, 6.2, 2.0), CREAM);
    s.text(text(31.75, 82.6, 3.3, INK, rule).centred());
}

/// One player's ferry.
struct Boat {
    name: &'static str,
    flag: Colour,
    /// What it may do that the others may not.
    gift: [&'static str; 3],
}

const FERRIES: [Boat; 4] = [
    Boat {
        name: "Avocet",
        flag: BRICK,
        gift: [
            "Once in each turn it may",
            "cross one square that",
            "has fallen dry.",
        ],
    },
    Boat {
        name: "Curlew",
        flag: OCHRE,
        gift: ["Its skipper keeps six", "cards in hand instead", "of five."],
    },
    Boat {
        name: "Dunlin",
        flag: REED,
        gift: [
            "It may stop beside another",
            "ferry and swap one card",
            "with its skipper.",
        ],
    },
    Boat {
        name: "Sandpiper",
        flag: SLATE,
        gift: [
            "The square that its card",
            "names may stay as it lies",
            "instead of turning.",
        ],
    },
];

fn ferry_card(boat: &Boat) -> Sketch {
    let mut s = Sketch::new();
    let sky = mixed(CREAM, GLOW, 0.3);
    s.fill(band(TOP, BOTTOM), sky);
    s.disc(50.0, 24.0, 6.4, mixed(sky, OCHRE, 0.4));
    s.put(gull(SLATE), 10.5, 33.0, 1.0);
    s.put(gull(SLATE), 54.0, 36.0, 0.7);
    land(&mut s, 50.0, &|c| c);
    s.fill(water((LEFT, RIGHT), (50.5, BOTTOM), (0.4, 12.0, 0.1)), FOAM);
    s.fill(
        water((LEFT, RIGHT), (53.0, BOTTOM), (0.6, 14.0, 0.6)),
        SHALLOW,
    );
    s.put(ferry(boat.flag), 32.0, 57.0, 1.06);
    s.fill(water((LEFT, RIGHT), (58.5, BOTTOM), (0.9, 17.0, 0.3)), TIDE);
    s.line(
        ripple((6.0, 20.0), 62.5, (0.5, 6.0, 0.0)),
        mixed(TIDE, FOAM, 0.5),
        0.4,
    );
    s.line(
        ripple((44.0, 52.0), 61.5, (0.5, 6.0, 0.0)),
        mixed(TIDE, FOAM, 0.5),
        0.4,
    );
    s.fill(Path::rounded_rect(4.5, 4.5, 54.5, 11.6, 2.4), boat.flag);
    s.text(heading(31.75, 12.6, 7.6, CREAM, boat.name).centred());
    s.fill(Path::rounded_rect(4.5, 66.4, 54.5, 18.0, 2.4), CREAM);
    for (i, line) in boat.gift.iter().enumerate() {
        s.text(text(31.75, 72.0 + 4.5 * i as f64, 3.7, INK, line).centred());
    }
    s
}

/// The back that fifty cards share. Nothing in it is symmetric, and its border is narrow and
/// even, so that a back that does not lie behind its front is seen at once.
fn common_back() -> Sketch {
    let mut s = Sketch::new();
    s.fill(band(TOP, BOTTOM), CREAM);
    let (x, y, w, h) = (4.0, 4.0, CARD.w - 8.0, CARD.h - 8.0);
    let panel = Path::rounded_rect(x, y, w, h, 2.2);
    let mut p = Sketch::new();
    p.fill(Path::rect(x, y, w, h), DUSK);
    p.put(glow(15.0, DUSK), 44.5, 21.5, 1.0);
    p.disc(44.5, 21.5, 7.4, CREAM);
    for (x, y) in [
        (12.0, 11.0),
        (21.0, 31.0),
        (29.0, 12.5),
        (10.5, 25.0),
        (56.0, 36.0),
        (25.0, 22.0),
    ] {
        p.disc(x, y, 0.42, CREAM);
    }
    p.put(gull(CREAM), 19.0, 38.0, 0.9);
    p.put(gull(CREAM), 27.0, 41.5, 0.65);
    let colours = [
        mixed(DUSK, SLATE, 0.75),
        SLATE,
        SHALLOW,
        mixed(SHALLOW, TIDE, 0.55),
        TIDE,
        mixed(TIDE, INK, 0.35),
        mixed(TIDE, INK, 0.65),
    ];
    for (i, colour) in colours.into_iter().enumerate() {
        let far = i as f64;
        let y = 46.0 + 5.4 * far;
        let shape = (0.6 + 0.22 * far, 11.0 + 2.2 * far, 0.37 * far);
        p.fill(water((0.0, CARD.w), (y, CARD.h), shape), colour);
        p.line(
            ripple((0.0, CARD.w), y + 1.1, shape),
            mixed(colour, FOAM, 0.55),
            0.28,
        );
        if i == 2 {
            p.put(ferry(BRICK), 26.0, y + 4.4, 0.74);
        }
        if i == 5 {
            p.put(reeds(), 52.5, 90.0, 1.0);
        }
    }
    s.clipped(p, panel);
    s.stroke(
        Path::rounded_rect(x + 1.5, y + 1.5, w - 3.0, h - 3.0, 1.4),
        tympan_sheet::drawing::Stroke::solid(CREAM, 0.35),
    );
    s.text(heading(8.6, 13.4, 6.0, CREAM, "Saltmarsh"));
    s.text(heading(8.6, 19.4, 6.0, CREAM, "Ferry"));
    s
}

/// The back of one ferry's card: its pennant.
fn ferry_back(boat: &Boat) -> Sketch {
    let mut s = Sketch::new();
    s.fill(band(TOP, BOTTOM), CREAM);
    let (x, y, w, h) = (4.0, 4.0, CARD.w - 8.0, CARD.h - 8.0);
    let panel = Path::rounded_rect(x, y, w, h, 2.2);
    let mut p = Sketch::new();
    p.fill(Path::rect(x, y, w, h), boat.flag);
    for i in 0..7 {
        let far = f64::from(i);
        let shape = (0.9, 14.0, 0.29 * far);
        p.line(
            ripple((0.0, CARD.w), 62.0 + 3.6 * far, shape),
            mixed(boat.flag, CREAM, 0.45),
            0.5,
        );
    }
    p.line(Path::line(15.0, 84.0, 15.0, 13.0), CREAM, 1.5);
    p.disc(15.0, 12.0, 1.6, CREAM);
    p.fill(
        Path::polygon(&[(15.6, 16.0), (52.0, 27.0), (15.6, 38.0)]),
        CREAM,
    );
    p.fill(
        Path::polygon(&[(15.6, 22.0), (32.0, 27.0), (15.6, 32.0)]),
        boat.flag,
    );
    p.put(heron(), 44.0, 76.5, 0.46);
    s.clipped(p, panel);
    s.stroke(
        Path::rounded_rect(x + 1.5, y + 1.5, w - 3.0, h - 3.0, 1.4),
        tympan_sheet::drawing::Stroke::solid(CREAM, 0.35),
    );
    s.text(anchored(
        heading(55.0, 53.0, 7.0, CREAM, boat.name),
        Anchor::End,
    ));
    s
}
