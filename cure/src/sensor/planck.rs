//! Radiance of a black body in a band of wavelengths, from Planck's law.
//!
//! With x = c₂/(λT) the share of the whole emission below λ is
//!
//!   F(0→λT) = (15/π⁴) Σₙ e^(−nx)/n · (x³ + 3x²/n + 6x/n² + 6/n³)
//!
//! (the integral of Planck's law term by term; Siegel and Howell, Thermal Radiation Heat Transfer), and
//! the whole is σT⁴. From dF/dx = −(15/π⁴) x³/(eˣ − 1) follows how what is emitted below λ grows with
//! temperature:
//!
//!   d(T⁴F)/dT = T³ [4 F + (15/π⁴) x⁴/(eˣ − 1)]
//!
//! λ is in m, T in K, c₂ in m K; emissions are in units of σ, so in K⁴.

use std::f64::consts::PI;

/// Second radiation constant hc/k in m K; h, c and k are exact since 2019 (CODATA 2018).
pub(super) const SECOND_RADIATION_CONSTANT: f64 = 6.626_070_15e-34 * 299_792_458.0 / 1.380_649e-23;

/// Terms after which the series has converged for every band and temperature met here.
const MOST_TERMS: u32 = 400;

/// What the integral over the whole spectrum is the inverse of.
const NORM: f64 = 15.0 / (PI * PI * PI * PI);

/// What a black body emits, in K⁴, and how that grows with its temperature, in K³.
#[derive(Debug, Clone, Copy)]
pub(super) struct Emission {
    pub(super) value: f64,
    pub(super) slope: f64,
}

/// The share of a black body's emission at wavelengths below that of x = c₂/(λT).
fn fraction_below(x: f64) -> f64 {
    let decay = (-x).exp();
    let mut power = 1.0;
    let mut sum = 0.0;
    for n in 1..=MOST_TERMS {
        power *= decay;
        let part = 1.0 / f64::from(n);
        let term =
            power * part * (((6.0 * part + 6.0 * x) * part + 3.0 * x * x) * part + x * x * x);
        sum += term;
        if term < 1e-16 * sum {
            break;
        }
    }
    NORM * sum
}

/// What a black body at a temperature in kelvin emits at wavelengths below one in metres.
fn emission_below(kelvin: f64, wavelength: f64) -> Emission {
    let x = SECOND_RADIATION_CONSTANT / (wavelength * kelvin);
    let fraction = fraction_below(x);
    let cube = kelvin * kelvin * kelvin;
    Emission {
        value: cube * kelvin * fraction,
        slope: cube * (4.0 * fraction + NORM * x * x * x * x / x.exp_m1()),
    }
}

/// What a black body at a temperature in kelvin, above 0, emits between two wavelengths in metres.
pub(super) fn emission_in_band(kelvin: f64, band: (f64, f64)) -> Emission {
    let (shorter, longer) = (
        emission_below(kelvin, band.0),
        emission_below(kelvin, band.1),
    );
    Emission {
        value: longer.value - shorter.value,
        slope: longer.slope - shorter.slope,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fraction(metre_kelvin: f64) -> f64 {
        fraction_below(SECOND_RADIATION_CONSTANT / metre_kelvin)
    }

    /// CODATA 2018: c₂ = 1.438 776 877 … × 10⁻² m K.
    #[test]
    fn the_second_radiation_constant_is_that_of_codata() {
        assert!((SECOND_RADIATION_CONSTANT - 1.438_776_877e-2).abs() < 1e-11);
    }

    /// Incropera, Fundamentals of Heat and Mass Transfer, table 12.1 (blackbody radiation functions); λT
    /// in µm K. The table was computed with older constants and is a little high from 4000 on, by up to
    /// 5 in its fifth decimal.
    #[test]
    fn blackbody_fractions_are_those_of_the_tables() {
        for (micrometre_kelvin, expected) in [
            (1000.0, 0.000_321),
            (1400.0, 0.007_790),
            (2000.0, 0.066_728),
            (2898.0, 0.250_108),
            (3000.0, 0.273_232),
            (4000.0, 0.480_877),
            (5000.0, 0.633_747),
            (6000.0, 0.737_818),
            (8000.0, 0.856_288),
            (10_000.0, 0.914_199),
            (20_000.0, 0.985_602),
        ] {
            let ours = fraction(micrometre_kelvin * 1e-6);
            assert!(
                (ours - expected).abs() < 5e-5,
                "{micrometre_kelvin}: {ours}"
            );
        }
    }

    /// Stefan and Boltzmann: all wavelengths together give σT⁴, which grows by 4σT³.
    #[test]
    fn the_whole_spectrum_is_everything() {
        let all = emission_in_band(433.15, (1e-8, 0.1));
        assert!((all.value / 433.15_f64.powi(4) - 1.0).abs() < 1e-8);
        assert!((all.slope / (4.0 * 433.15_f64.powi(3)) - 1.0).abs() < 1e-8);
    }

    /// Wien's displacement law: a spectrum peaks where λT = 2897.771 955 µm K (CODATA 2018). A narrow band
    /// there emits more than its neighbours on either side, and they, equally far, about the same.
    #[test]
    fn a_spectrum_peaks_where_wien_says() {
        let kelvin = 433.15;
        let peak = 2.897_771_955e-3 / kelvin;
        let around = |share: f64| {
            let middle = peak * (1.0 + share);
            emission_in_band(kelvin, (middle - 1e-9, middle + 1e-9)).value
        };
        assert!(around(0.0) > around(0.001) && around(0.0) > around(-0.001));
        let (fall, skew) = (around(0.0) - around(0.001), around(0.001) - around(-0.001));
        assert!(skew.abs() < 0.05 * fall, "{skew} {fall}");
    }

    /// Planck's law itself and its derivative by temperature, integrated by the crate `gauss-quad`.
    #[test]
    fn a_band_agrees_with_a_quadrature_library() {
        let quadrature = gauss_quad::GaussLegendre::new(40.try_into().unwrap());
        let (h, c, k) = (6.626_070_15e-34, 299_792_458.0_f64, 1.380_649e-23);
        let sigma = 2.0 * PI.powi(5) * k * k * k * k / (15.0 * h * h * h * c * c);
        for band in [(8e-6, 14e-6), (3e-6, 5e-6), (7.5e-6, 8.5e-6)] {
            for celsius in [-40.0, 20.0, 160.0, 400.0] {
                let kelvin = celsius + 273.15;
                let x = |wavelength: f64| h * c / (wavelength * k * kelvin);
                let planck = |wavelength: f64| {
                    2.0 * PI * h * c * c / wavelength.powi(5) / x(wavelength).exp_m1()
                };
                let growth = |wavelength: f64| {
                    let x = x(wavelength);
                    planck(wavelength) * x / kelvin / -(-x).exp_m1()
                };
                let expected = quadrature.integrate(band.0, band.1, planck) / sigma;
                let slope = quadrature.integrate(band.0, band.1, growth) / sigma;
                let ours = emission_in_band(kelvin, band);
                assert!((ours.value / expected - 1.0).abs() < 1e-9, "{celsius}");
                assert!((ours.slope / slope - 1.0).abs() < 1e-9, "{celsius}");
            }
        }
    }
}
