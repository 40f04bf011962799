//! The fewest sheets that make all pieces.

use super::fronts::Counts;

/// Three different mixtures are tried together only where that is at most so many steps.
const MOST_STEPS: usize = 20_000_000;

/// Which mixtures, and how many sheets of each: the fewest sheets, then the fewest different
/// mixtures. At most three different ones are used.
pub(super) fn fewest(mixtures: &[Counts], wanted: &[usize]) -> Option<Vec<(usize, usize)>> {
    let mut best: Option<Vec<(usize, usize)>> = None;
    let total = |plan: &[(usize, usize)]| plan.iter().map(|p| p.1).sum::<usize>();
    for (p, mixture) in mixtures.iter().enumerate() {
        if let Some(sheets) = sheets(mixture, wanted)
            && best.as_ref().is_none_or(|b| sheets < total(b))
        {
            best = Some(vec![(p, sheets)]);
        }
    }
    for p in 0..mixtures.len() {
        let limit = best.as_ref().map_or_else(|| most(wanted), |b| total(b));
        for first in 1..limit {
            let left = less(wanted, &mixtures[p], first);
            for (q, mixture) in mixtures.iter().enumerate().filter(|&(q, _)| q != p) {
                if let Some(second) = sheets(mixture, &left)
                    && best.as_ref().is_none_or(|b| first + second < total(b))
                {
                    best = Some(vec![(p, first), (q, second)]);
                }
            }
        }
    }
    let limit = best.as_ref().map_or_else(|| most(wanted), |b| total(b));
    let pairs = (mixtures.len() * limit).pow(2);
    if pairs.saturating_mul(mixtures.len()) <= 2 * MOST_STEPS {
        for p in 0..mixtures.len() {
            for first in 1..limit {
                let after = less(wanted, &mixtures[p], first);
                for q in p + 1..mixtures.len() {
                    for second in 1..limit - first {
                        let left = less(&after, &mixtures[q], second);
                        for (r, mixture) in mixtures.iter().enumerate().skip(q + 1) {
                            if let Some(third) = sheets(mixture, &left)
                                && best
                                    .as_ref()
                                    .is_none_or(|b| first + second + third < total(b))
                            {
                                best = Some(vec![(p, first), (q, second), (r, third)]);
                            }
                        }
                    }
                }
            }
        }
    }
    best.map(|plan| plan.into_iter().filter(|p| p.1 > 0).collect())
}

/// More sheets than can be needed.
fn most(wanted: &[usize]) -> usize {
    wanted.iter().sum::<usize>() + 1
}

/// How many sheets of one mixture make these pieces.
fn sheets(mixture: &Counts, wanted: &[usize]) -> Option<usize> {
    let mut sheets = 0;
    for (&n, &per_sheet) in wanted.iter().zip(mixture) {
        match per_sheet as usize {
            0 if n > 0 => return None,
            0 => {}
            per_sheet => sheets = sheets.max(n.div_ceil(per_sheet)),
        }
    }
    Some(sheets)
}

fn less(wanted: &[usize], mixture: &Counts, sheets: usize) -> Vec<usize> {
    wanted
        .iter()
        .zip(mixture)
        .map(|(&n, &per_sheet)| n.saturating_sub(per_sheet as usize * sheets))
        .collect()
}
