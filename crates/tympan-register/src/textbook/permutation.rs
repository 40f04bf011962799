//! Exact permutation test of a difference between two means.

use super::TextbookError;

/// How many ways of dealing the values into the two groups differ at least as much as the one
/// that was seen, of all ways.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PermutationTest {
    /// At least as extreme as what was seen, itself included.
    pub as_extreme: u64,
    /// All ways.
    pub total: u64,
}

impl PermutationTest {
    /// The two-sided probability of a difference at least as large if the groups do not differ.
    pub fn p_value(self) -> f64 {
        self.as_extreme as f64 / self.total as f64
    }
}

/// The exact two-sided permutation test for a difference of means.
///
/// # Errors
/// [`TextbookError::TooFew`] where a group is empty; [`TextbookError::OutOfRange`] for numbers
/// that are not finite or for more than 24 values together.
pub fn permutation_test(a: &[f64], b: &[f64]) -> Result<PermutationTest, TextbookError> {
    if a.is_empty() || b.is_empty() {
        return Err(TextbookError::TooFew);
    }
    let all: Vec<f64> = a.iter().chain(b).copied().collect();
    if all.len() > 24 || !all.iter().all(|x| x.is_finite()) {
        return Err(TextbookError::OutOfRange);
    }
    let total: f64 = all.iter().sum();
    let scale = all.iter().map(|x| x.abs()).fold(0.0, f64::max);
    let difference = |sum: f64| (sum / a.len() as f64 - (total - sum) / b.len() as f64).abs();
    let seen = difference(a.iter().sum());
    let (mut as_extreme, mut count) = (0, 0);
    for mask in 0_u32..1 << all.len() {
        if mask.count_ones() as usize != a.len() {
            continue;
        }
        let chosen = all.iter().enumerate().filter(|(i, _)| mask >> i & 1 == 1);
        count += 1;
        // Ties differ by rounding only.
        if difference(chosen.map(|(_, x)| x).sum()) >= seen - 1e-12 * scale {
            as_extreme += 1;
        }
    }
    Ok(PermutationTest {
        as_extreme,
        total: count,
    })
}

/// The smallest two-sided result that groups of these sizes can ever give: all of one group above
/// all of the other, and its mirror image where the groups are of one size.
pub fn smallest_attainable(a: usize, b: usize) -> PermutationTest {
    let total = (1..=a as u64).fold(1, |ways, k| ways * (b as u64 + k) / k);
    PermutationTest {
        as_extreme: if a == b { 2 } else { 1 },
        total,
    }
}
