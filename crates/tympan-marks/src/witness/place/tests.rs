use super::*;
use proptest::prelude::*;

const A4: Size = Size::new(210.0, 297.0);
const LETTER: Size = Size::new(215.9, 279.4);

/// Poker cards, 63.5 × 88.9 mm, three by three with this bleed around all of them, in the middle
/// of the sheet.
fn poker<F: tympan_sheet::Frame>(paper: Size, bleed: f64) -> Rect<F> {
    let size = Size::new(3.0 * 63.5 + 2.0 * bleed, 3.0 * 88.9 + 2.0 * bleed);
    let corner = Point::new((paper.w - size.w) / 2.0, (paper.h - size.h) / 2.0);
    Rect::at(corner, size)
}

fn placed(
    paper: Size,
    flip: Flip,
    margin: f64,
    bleed: f64,
    ticks: &[Rect<Front>],
) -> Result<Geometry, NoRoom> {
    let mut front = vec![poker(paper, bleed)];
    front.extend(ticks);
    Geometry::new(&Room {
        paper,
        flip,
        printable_front: Rect::whole(paper).grown(-margin),
        printable_back: Rect::whole(paper).grown(-margin),
        front: &front,
        back: &[poker(paper, bleed)],
    })
}

#[test]
fn marks_fit_beside_nine_poker_cards_on_a4_and_on_letter() {
    for (paper, edges) in [
        (A4, [Edge::Head, Edge::Foot]),
        (LETTER, [Edge::Left, Edge::Right]),
    ] {
        for flip in [Flip::Sideways, Flip::Endways] {
            let geometry = placed(paper, flip, 4.2, 3.0, &[]).expect("room");
            assert_eq!(geometry.strips().each_ref().map(|s| s.edge), edges);
            for side in Side::BOTH {
                assert!(
                    geometry.marks(side).len() >= 14,
                    "{side}: {}",
                    geometry.marks(side).len()
                );
                let cards = poker::<tympan_sheet::Page>(paper, 3.0);
                let printable = Rect::whole(paper).grown(-4.2 + 1e-6);
                for b in geometry.boxes(side) {
                    assert!(
                        cards.grown(1.0 - 1e-6).meet(b).is_none(),
                        "{b:?} in the bleed"
                    );
                    let inside = b.corners().iter().all(|&p| printable.contains(p));
                    assert!(inside, "{b:?} out of the printer's reach");
                }
            }
        }
    }
}

#[test]
fn nothing_of_one_side_lies_behind_anything_of_the_other() {
    for paper in [A4, LETTER] {
        let geometry = placed(paper, Flip::Endways, 4.2, 3.0, &[]).expect("room");
        let fronts: Vec<_> = geometry.boxes(Side::Front);
        let backs = geometry
            .strips()
            .iter()
            .map(|s| s.bars(Side::Back, 0, CELLS))
            .chain(
                geometry
                    .marks(Side::Back)
                    .into_iter()
                    .map(|p| Rect { min: p, max: p }.grown(MARK_RADIUS)),
            );
        for back in backs.map(|b| geometry.rect_on(Side::Front, b)) {
            for front in &fronts {
                assert!(
                    front.grown(1.0).meet(back).is_none(),
                    "{front:?} before {back:?}"
                );
            }
        }
    }
}

#[test]
fn no_mirror_or_half_turn_or_exchange_of_sides_looks_like_the_marks() {
    for paper in [A4, LETTER] {
        let geometry = placed(paper, Flip::Sideways, 4.2, 3.0, &[]).expect("room");
        let likeness = likeness(geometry.strips(), paper);
        assert!(likeness < 0.85, "{likeness}");
        assert!(
            Side::BOTH
                .iter()
                .all(|&side| !geometry.empty_places(side).is_empty())
        );
    }
}

#[test]
fn marks_keep_clear_of_trim_marks() {
    let block = poker::<Front>(A4, 0.0);
    let ticks: Vec<Rect<Front>> = (0..4)
        .flat_map(|k| {
            let x = block.min.x + 63.5 * f64::from(k);
            [block.min.y - 8.0, block.max.y + 4.0]
                .map(|y| Rect::at(Point::new(x - 0.1, y), Size::new(0.2, 4.0)))
        })
        .collect();
    let geometry = placed(A4, Flip::Sideways, 4.2, 3.0, &ticks).expect("room between the ticks");
    for p in Side::BOTH.into_iter().flat_map(|side| geometry.marks(side)) {
        assert!(
            ticks.iter().all(|&t| distance_to(t, p) >= BARE - 1e-6),
            "{p:?}"
        );
    }
    for strip in geometry.strips() {
        for side in Side::BOTH {
            let bars = strip.bars(side, 0, CELLS).grown(QUIET - 1e-6);
            assert!(ticks.iter().all(|&t| t.meet(bars).is_none()));
        }
    }
}

#[test]
fn a_sheet_without_room_says_how_much_is_missing() {
    // Letter, 5.5 mm at the sides when 4.2 mm are unprintable: 4.1 mm are needed.
    let no_room = placed(LETTER, Flip::Sideways, 6.0, 3.0, &[]).expect_err("3.7 mm are too few");
    let NoRoom::Narrow { beside, missing } = no_room else {
        panic!("{no_room:?}");
    };
    assert_eq!(beside, Beside::LeftAndRight);
    assert!((missing - 0.4).abs() < 1e-6, "{missing}");
    assert_eq!(
        no_room.to_string(),
        "there is no room for witness marks: the strips at the left and the right are 0.4 mm too narrow"
    );
    assert!(!no_room.hint().is_empty());
}

#[test]
fn a_geometry_comes_back_from_the_store() {
    let geometry = placed(A4, Flip::Sideways, 4.2, 3.0, &[]).expect("room");
    let json = serde_json::to_string(&geometry).expect("json");
    assert_eq!(
        serde_json::from_str::<Geometry>(&json).expect("json"),
        geometry
    );
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 6, ..ProptestConfig::default() })]

    #[test]
    fn whatever_is_placed_is_clear_of_print(
        w in 140.0..330.0_f64, h in 140.0..450.0_f64,
        left in 5.0..60.0_f64, top in 5.0..60.0_f64,
        right in 5.0..60.0_f64, foot in 5.0..60.0_f64,
        margin in 0.0..8.0_f64,
    ) {
        let paper = Size::new(w, h);
        let front = [Rect::<Front> { min: Point::new(left, top), max: Point::new(w - right, h - foot) }];
        let room = Room {
            paper, flip: Flip::Sideways,
            printable_front: Rect::whole(paper).grown(-margin),
            printable_back: Rect::whole(paper).grown(-margin),
            front: &front,
            back: &[],
        };
        if let Ok(geometry) = Geometry::new(&room) {
            for side in Side::BOTH {
                for p in geometry.marks(side) {
                    prop_assert!(distance_to(front[0], p) >= BARE - 0.002);
                    prop_assert!(room.printable_front.grown(0.002 - MARK_RADIUS).contains(p));
                }
            }
        }
    }
}
