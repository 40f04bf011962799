//! The stack is cut and piled up by hand, in simulation: does the deck come out in order?

use tympan_layout::{ArtId, Job, Order, Piece, Plan, Sheet, Unit, Unmeasured, plan};
use tympan_sheet::{Flip, Shape, Size};

fn deck(copies: &[usize]) -> Vec<Piece> {
    let card = Shape::rect(Size::new(63.5, 88.9), 3.0);
    copies
        .iter()
        .enumerate()
        .map(|(i, &n)| Piece::new(format!("card {i}"), card, ArtId(i), Some(ArtId(100))).copies(n))
        .collect()
}

fn planned(copies: &[usize], order: Order) -> Plan {
    let sheet = Sheet::new(Size::new(210.0, 297.0), Flip::Sideways, 4.2);
    let job = Job {
        order,
        ..Job::new(deck(copies), sheet)
    };
    plan(&job, &Unmeasured, 1).expect("a plan").swap_remove(0)
}

/// Sheets in a stack, the first on top; each cell's column of pieces; columns under each other.
fn piled_up(plan: &Plan) -> Vec<Unit> {
    let mut deck = Vec::new();
    for group in &plan.groups {
        for cell in 0..group.cells.len() {
            deck.extend(group.sheets.iter().filter_map(|sheet| sheet[cell]));
        }
    }
    deck
}

#[test]
fn cut_piles_laid_upon_each_other_are_the_deck_in_order() {
    for copies in [
        vec![1; 54],
        vec![1; 55],
        vec![1; 9],
        vec![1; 4],
        vec![4, 3, 20, 1, 17],
        vec![1000],
    ] {
        let plan = planned(&copies, Order::CutAndStack);
        let deck = piled_up(&plan);
        let total: usize = copies.iter().sum();
        assert_eq!(deck.len(), total);
        assert_eq!(plan.figures.pieces, total);
        for (i, unit) in deck.iter().enumerate() {
            assert_eq!(unit.number, i, "{copies:?}");
        }
        let made: Vec<usize> = (0..copies.len())
            .map(|k| deck.iter().filter(|u| u.piece == k).count())
            .collect();
        assert_eq!(made, copies);
        // Only the last sheet may have empty cells.
        let sheets: Vec<_> = plan.sheets().collect();
        for (_, units) in &sheets[..sheets.len() - 1] {
            assert!(units.iter().all(Option::is_some), "{copies:?}");
        }
    }
}

#[test]
fn piles_tell_their_counts_and_ends() {
    let plan = planned(&[1; 58], Order::CutAndStack);
    let piles = plan.piles();
    // 58 cards in 9 cells on 7 sheets: four piles of seven, five of six.
    assert_eq!(
        piles.iter().map(|p| p.count).collect::<Vec<_>>(),
        [7, 7, 7, 7, 6, 6, 6, 6, 6]
    );
    assert_eq!((piles[0].first.number, piles[0].last.number), (0, 6));
    assert_eq!((piles[8].first.number, piles[8].last.number), (52, 57));
}

#[test]
fn sheet_by_sheet_fills_one_sheet_after_the_other() {
    let plan = planned(&[1; 20], Order::SheetBySheet);
    let numbers: Vec<usize> = plan
        .sheets()
        .flat_map(|(_, units)| units.iter().flatten().map(|u| u.number))
        .collect();
    assert_eq!(numbers, (0..20).collect::<Vec<_>>());
}

#[test]
fn cells_that_no_sheet_needs_are_left_out_and_the_rest_is_centred() {
    let plan = planned(&[1; 4], Order::CutAndStack);
    assert_eq!(plan.groups[0].cells.len(), 4);
    let left = plan.groups[0]
        .cells
        .iter()
        .map(|c| c.trim.min.x)
        .fold(f64::MAX, f64::min);
    let right = plan.groups[0]
        .cells
        .iter()
        .map(|c| c.trim.max.x)
        .fold(0.0, f64::max);
    assert!((left + right - 210.0).abs() < 1e-9);
}

#[test]
fn one_sided_pieces_have_nothing_behind_them() {
    let card = Shape::rect(Size::new(63.5, 88.9), 3.0);
    let pieces = vec![
        Piece::new("two-sided", card, ArtId(0), Some(ArtId(9))).copies(3),
        Piece::new("one-sided", card, ArtId(1), None).copies(4),
    ];
    let sheet = Sheet::new(Size::new(210.0, 297.0), Flip::Endways, 4.2);
    let plan = &plan(&Job::new(pieces, sheet), &Unmeasured, 1).expect("a plan")[0];
    let sides: Vec<_> = plan.sides().collect();
    assert_eq!(sides.iter().map(|s| s.front.len()).sum::<usize>(), 7);
    let backs: Vec<_> = sides.iter().flat_map(|s| &s.back).collect();
    assert_eq!(backs.len(), 3);
    assert!(backs.iter().all(|b| b.unit.piece == 0 && b.art == ArtId(9)));
}
