//! How much ink a screen leaves.

use inkdwell_config::quantity::Metres;

/// Usual meshes: threads an inch, and the diameter of a thread in micrometres. Common practice, no source.
const USUAL: [(f64, f64); 8] = [
    (60.0, 145.0),
    (86.0, 100.0),
    (110.0, 80.0),
    (156.0, 64.0),
    (200.0, 54.0),
    (230.0, 48.0),
    (305.0, 34.0),
    (355.0, 31.0),
];

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

    /// The usual mesh of a count (threads an inch): its thread straight between those of usual counts. `None` for a
    /// count that no print is made with.
    pub fn usual(threads_per_inch: f64) -> Option<Mesh> {
        let (first, last) = (USUAL[0].0, USUAL[USUAL.len() - 1].0);
        if !(first..=last).contains(&threads_per_inch) {
            return None;
        }
        let pair = USUAL
            .windows(2)
            .find(|pair| threads_per_inch <= pair[1].0)?;
        let share = (threads_per_inch - pair[0].0) / (pair[1].0 - pair[0].0);
        let thread = pair[0].1 + share * (pair[1].1 - pair[0].1);
        Some(Mesh::by_count(threads_per_inch, Metres(thread * 1e-6)))
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
    fn a_usual_mesh_has_its_usual_thread_and_a_finer_one_lays_less() {
        // Common practice, no source: 110/80, 156/64, 230/48, 305/34.
        for (count, thread) in [
            (110.0, 80e-6),
            (156.0, 64e-6),
            (230.0, 48e-6),
            (305.0, 34e-6),
        ] {
            let usual = Mesh::usual(count).unwrap();
            assert!((usual.thread.0 - thread).abs() < 1e-9, "{usual:?}");
        }
        let films = (60..=355).map(|count| Mesh::usual(f64::from(count)).unwrap().film(1).0);
        let films: Vec<f64> = films.collect();
        let finest = films.windows(2).filter(|pair| pair[1] > pair[0]).count();
        // A film of some tens of micrometres, thinner with almost every count.
        assert!(
            films[0] < 150e-6 && films[films.len() - 1] > 15e-6,
            "{films:?}"
        );
        assert!(finest == 0, "{films:?}");
        assert_eq!(Mesh::usual(20.0), None);
        assert_eq!(Mesh::usual(f64::NAN), None);
    }

    #[test]
    fn a_finer_mesh_lays_less_ink() {
        // Common practice: a 110 mesh lays a thick film, a 230 mesh a thin one.
        let coarse = Mesh::by_count(110.0, Metres(80e-6)).film(1);
        let fine = Mesh::by_count(230.0, Metres(48e-6)).film(1);
        assert!(coarse.0 > 1.5 * fine.0, "{coarse:?} {fine:?}");
    }
}
