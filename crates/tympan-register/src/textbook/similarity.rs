//! Rigid and similarity fits between two sets of points (S. Umeyama, IEEE PAMI 13(4), 1991).

use tympan_sheet::{Angle, Frame, Map, Point};

use super::TextbookError;

/// The map without mirroring that brings one set of points closest to another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SimilarityFit<A: Frame, B: Frame> {
    /// The map.
    pub map: Map<A, B>,
    /// Rotation, clockwise as seen (y down).
    pub tilt: Angle,
    /// Scale; 1 for a rigid fit.
    pub scale: f64,
    /// Mean squared distance left, mm².
    pub mean_square: f64,
}

/// The best shift, rotation and scale. In the plane Umeyama's solution has the closed form
/// `θ = atan2(Σ a×b, Σ a·b)`, `c = √((Σ a·b)² + (Σ a×b)²) / Σ|a|²` about the centroids.
///
/// # Errors
/// [`TextbookError`] for fewer than two pairs, numbers that are not finite, or points in one place.
pub fn fit_similarity<A: Frame, B: Frame>(
    pairs: &[(Point<A>, Point<B>)],
) -> Result<SimilarityFit<A, B>, TextbookError> {
    fit(pairs, true)
}

/// The best shift and rotation.
///
/// # Errors
/// As [`fit_similarity`].
pub fn fit_rigid<A: Frame, B: Frame>(
    pairs: &[(Point<A>, Point<B>)],
) -> Result<SimilarityFit<A, B>, TextbookError> {
    fit(pairs, false)
}

fn fit<A: Frame, B: Frame>(
    pairs: &[(Point<A>, Point<B>)],
    scaled: bool,
) -> Result<SimilarityFit<A, B>, TextbookError> {
    if pairs.len() < 2 {
        return Err(TextbookError::TooFew);
    }
    let n = pairs.len() as f64;
    let (mut a, mut b) = (Point::<A>::default(), Point::<B>::default());
    for &(p, q) in pairs {
        a = Point::new(a.x + p.x / n, a.y + p.y / n);
        b = Point::new(b.x + q.x / n, b.y + q.y / n);
    }
    let (mut dot, mut cross, mut size) = (0.0, 0.0, 0.0);
    for &(p, q) in pairs {
        let (u, v) = (p - a, q - b);
        dot += u.x * v.x + u.y * v.y;
        cross += u.x * v.y - u.y * v.x;
        size += u.x * u.x + u.y * u.y;
    }
    let turned = dot.hypot(cross);
    if !turned.is_finite() {
        return Err(TextbookError::OutOfRange);
    }
    if size <= 0.0 || turned <= 1e-15 * size {
        return Err(TextbookError::Singular);
    }
    let scale = if scaled { turned / size } else { 1.0 };
    let (cos, sin) = (scale * dot / turned, scale * cross / turned);
    let map = Map::new(
        cos,
        -sin,
        sin,
        cos,
        b.x - (cos * a.x - sin * a.y),
        b.y - (sin * a.x + cos * a.y),
    );
    let left = |&(p, q): &(Point<A>, Point<B>)| (map.apply(p) - q).length().powi(2);
    Ok(SimilarityFit {
        map,
        tilt: Angle::radians(cross.atan2(dot)),
        scale,
        mean_square: pairs.iter().map(left).sum::<f64>() / n,
    })
}
