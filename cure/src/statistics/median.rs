//! The median.

/// The middle one, or halfway between the two in the middle; `None` of nothing.
pub(crate) fn median(figures: &mut [f64]) -> Option<f64> {
    let place = figures.len() / 2;
    if figures.is_empty() {
        return None;
    }
    let odd = figures.len() % 2 == 1;
    let (below, middle, _) = figures.select_nth_unstable_by(place, f64::total_cmp);
    let next = below.iter().copied().max_by(f64::total_cmp);
    Some(match (odd, next) {
        (false, Some(next)) => (next + *middle) / 2.0,
        _ => *middle,
    })
}
