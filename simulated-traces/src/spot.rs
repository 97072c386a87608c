//! What an infrared probe over the belt sees: belt, cloth, print, cloth, belt, each in its round spot.

/// How much of a round spot of a diameter lies before (at smaller positions than) a straight edge that is
/// `offset` from its middle: 0 for an edge before the spot, 1 for one beyond it.
///
/// The circular segment: ½ + (asin s + s √(1 − s²))/π with s = offset/radius (geometry).
pub(crate) fn share_before(offset: f64, diameter: f64) -> f64 {
    let s = (2.0 * offset / diameter.max(1e-6)).clamp(-1.0, 1.0);
    0.5 + (s.asin() + s * (1.0 - s * s).sqrt()) / std::f64::consts::PI
}

/// How much of a spot is print, cloth and belt when the middle of a print lies `offset` metres from the
/// middle of the spot.
pub(crate) fn shares(
    offset: f64,
    print_length: f64,
    garment_length: f64,
    diameter: f64,
) -> [f64; 3] {
    let within = |length: f64| {
        share_before(offset + 0.5 * length, diameter)
            - share_before(offset - 0.5 * length, diameter)
    };
    let print = within(print_length);
    let garment = within(garment_length);
    [print, garment - print, 1.0 - garment]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spot_takes_in_its_segment() {
        // Geometry: an edge half a radius from the middle cuts off 19.55 % of a disc.
        assert!((share_before(0.0, 0.03) - 0.5).abs() < 1e-12);
        assert!((share_before(0.0075, 0.03) - 0.804_498_9).abs() < 1e-6);
        assert_eq!(shares(0.0, 0.3, 0.6, 0.03), [1.0, 0.0, 0.0]);
        assert_eq!(shares(0.25, 0.3, 0.6, 0.03), [0.0, 1.0, 0.0]);
        assert_eq!(shares(0.5, 0.3, 0.6, 0.03), [0.0, 0.0, 1.0]);
    }
}
