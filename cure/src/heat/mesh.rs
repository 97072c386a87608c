//! How much ink a screen leaves.

use inkdwell_config::quantity::Metres;

/// A screen's mesh.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mesh {
    /// From thread to thread: 25.4 mm divided by the mesh count (threads an inch).
    pub pitch: Metres,
    /// Diameter of a thread.
    pub thread: Metres,
    /// Thickness of the woven mesh; about twice the thread where it is not known.
    pub thickness: Option<Metres>,
}

impl Mesh {
    /// A mesh by its count, threads an inch.
    pub fn by_count(threads_per_inch: f64, thread: Metres) -> Mesh {
        Mesh {
            pitch: Metres(0.0254 / threads_per_inch),
            thread,
            thickness: None,
        }
    }

    /// The clear width between two threads: pitch less thread.
    pub fn opening(&self) -> Metres {
        Metres((self.pitch.0 - self.thread.0).max(0.0))
    }

    /// Open share of the area: (opening / pitch)².
    pub fn open_area(&self) -> f64 {
        (self.opening().0 / self.pitch.0).powi(2)
    }

    /// The wet film that so many strokes leave.
    ///
    /// Theoretical ink volume by area = open area × thickness of the mesh, which is a length: the
    /// openings stand full and empty themselves onto the cloth. A further stroke adds half of that
    /// again (common practice, no source).
    pub fn film(&self, strokes: u8) -> Metres {
        let thickness = self.thickness.map_or(2.0 * self.thread.0, |value| value.0);
        let further = f64::from(strokes.max(1) - 1);
        Metres(self.open_area() * thickness * (1.0 + 0.5 * further))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_screen_leaves_its_open_volume() {
        // By hand: 100 threads a centimetre (254 an inch) are 100 um apart; threads of 40 um leave
        // 60 um open, which is 36 % of the area; a mesh 65 um thick then holds 23.4 cm³/m².
        let mesh = Mesh {
            thickness: Some(Metres(65e-6)),
            ..Mesh::by_count(254.0, Metres(40e-6))
        };
        assert!((mesh.opening().0 - 60e-6).abs() < 1e-12);
        assert!((mesh.film(1).0 - 23.4e-6).abs() < 1e-12);
        assert!((mesh.film(3).0 - 46.8e-6).abs() < 1e-12);
    }

    #[test]
    fn a_finer_mesh_lays_less_ink() {
        // Common practice: a 110 mesh lays a thick film, a 230 mesh a thin one.
        let coarse = Mesh::by_count(110.0, Metres(80e-6)).film(1);
        let fine = Mesh::by_count(230.0, Metres(48e-6)).film(1);
        assert!(coarse.0 > 1.5 * fine.0, "{coarse:?} {fine:?}");
    }
}
