//! Many sizes, or very small ones: sheet by sheet, each with the most valuable pieces of those
//! that are still wanted.

use super::super::arrangement::Spot;
use super::super::guillotine::{Item, Table};

/// The spots of each arrangement and how many sheets it is printed on; `None` where a size fits
/// nowhere or would take too long. Large pieces are worth more than their area by these powers by
/// turns, and the fewest sheets win.
pub(super) fn sheets(
    items: &[Item],
    wanted: &[usize],
    w: u64,
    h: u64,
) -> Option<Vec<(Vec<Spot>, usize)>> {
    let total = |plan: &[(Vec<Spot>, usize)]| plan.iter().map(|p| p.1).sum::<usize>();
    [1.0, 1.1, 1.3]
        .into_iter()
        .filter_map(|power| by_value(items, wanted, w, h, power))
        .min_by_key(|plan| total(plan))
}

fn by_value(
    items: &[Item],
    wanted: &[usize],
    w: u64,
    h: u64,
    power: f64,
) -> Option<Vec<(Vec<Spot>, usize)>> {
    let mut left = wanted.to_vec();
    let mut plan = Vec::new();
    while left.iter().any(|&n| n > 0) {
        let open: Vec<Item> = items
            .iter()
            .filter(|item| left[item.class] > 0)
            .map(|item| Item {
                value: ((item.w * item.h) as f64 / (w * h) as f64).powf(power),
                ..*item
            })
            .collect();
        let mut spots = Table::solve(&open, w, h, false)?.spots(&open);
        // No more of a size than is wanted: what is over is left empty.
        let mut counts = vec![0; wanted.len()];
        spots.retain(|spot| {
            counts[spot.class] += 1;
            counts[spot.class] <= left[spot.class]
        });
        let sheets = (0..wanted.len())
            .filter(|&k| counts[k] > 0)
            .map(|k| left[k] / counts[k].min(left[k]))
            .min()?;
        for (n, count) in left.iter_mut().zip(&counts) {
            *n -= (*n).min(count * sheets);
        }
        plan.push((spots, sheets));
    }
    Some(plan)
}
