//! Radiance of a black body in a band of wavelengths, from Planck's law.
//!
//! With x = c₂/(λT) the share of the whole emission below λ is
//!
//!   F(0→λT) = (15/π⁴) Σₙ e^(−nx)/n · (x³ + 3x²/n + 6x/n² + 6/n³)
//!
//! (the integral of Planck's law term by term; Siegel and Howell, Thermal Radiation Heat Transfer), and
//! the whole is σT⁴.

use std::f64::consts::PI;

/// Second radiation constant hc/k in m K; h, c and k are exact since 2019 (CODATA 2018).
pub(super) const SECOND_RADIATION_CONSTANT: f64 = 6.626_070_15e-34 * 299_792_458.0 / 1.380_649e-23;

/// Terms after which the series has converged for every band and temperature met here.
const MOST_TERMS: u32 = 400;

/// The share of a black body's emission at wavelengths below λ, for λT in m K.
pub(super) fn fraction_below(wavelength_times_kelvin: f64) -> f64 {
    if wavelength_times_kelvin <= 0.0 {
        return 0.0;
    }
    let x = SECOND_RADIATION_CONSTANT / wavelength_times_kelvin;
    let mut sum = 0.0;
    for n in 1..=MOST_TERMS {
        let n = f64::from(n);
        let term = (-n * x).exp() / n
            * (x * x * x + 3.0 * x * x / n + 6.0 * x / (n * n) + 6.0 / (n * n * n));
        sum += term;
        if term < 1e-16 * sum {
            break;
        }
    }
    15.0 / (PI * PI * PI * PI) * sum
}

/// What a black body at a temperature in kelvin emits between two wavelengths in metres, in units of
/// σ (so that the whole spectrum gives T⁴).
pub(super) fn emission_in_band(kelvin: f64, band: (f64, f64)) -> f64 {
    let share = fraction_below(band.1 * kelvin) - fraction_below(band.0 * kelvin);
    share * kelvin * kelvin * kelvin * kelvin
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Incropera, Fundamentals of Heat and Mass Transfer, table 12.1 (also Siegel and Howell, appendix);
    /// λT in µm K.
    #[test]
    fn blackbody_fractions_are_those_of_the_tables() {
        for (micrometre_kelvin, fraction) in [
            (1000.0, 0.000_321),
            (2000.0, 0.066_728),
            (2897.8, 0.250_1),
            (4000.0, 0.480_877),
            (5000.0, 0.633_747),
            (6000.0, 0.737_818),
            (8000.0, 0.856_288),
            (10_000.0, 0.914_199),
            (20_000.0, 0.985_602),
        ] {
            let ours = fraction_below(micrometre_kelvin * 1e-6);
            assert!(
                (ours - fraction).abs() < 6e-5,
                "{micrometre_kelvin}: {ours}"
            );
        }
    }

    /// Stefan and Boltzmann: all wavelengths together give σT⁴.
    #[test]
    fn the_whole_spectrum_is_everything() {
        assert!((fraction_below(10.0) - 1.0).abs() < 1e-6);
    }

    /// Planck's law itself, integrated by the crate `gauss-quad`, over the usual band.
    #[test]
    fn a_band_agrees_with_a_quadrature_library() {
        let quadrature = gauss_quad::GaussLegendre::new(40.try_into().unwrap());
        let (h, c, k) = (6.626_070_15e-34, 299_792_458.0_f64, 1.380_649e-23);
        let sigma = 2.0 * PI.powi(5) * k * k * k * k / (15.0 * h * h * h * c * c);
        for celsius in [20.0, 160.0, 400.0] {
            let kelvin = celsius + 273.15;
            let planck = |wavelength: f64| {
                let x = h * c / (wavelength * k * kelvin);
                2.0 * PI * h * c * c / wavelength.powi(5) / x.exp_m1()
            };
            let expected = quadrature.integrate(8e-6, 14e-6, planck) / sigma;
            let ours = emission_in_band(kelvin, (8e-6, 14e-6));
            assert!(
                (ours / expected - 1.0).abs() < 1e-9,
                "{celsius}: {ours} {expected}"
            );
        }
    }
}
