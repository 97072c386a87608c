//! A picture as SVG, to stand in a page.

use std::fmt::Write;

use super::{Anchor, Colour, Kind, Picture, Shape};

fn hex(Colour(red, green, blue): Colour) -> String {
    format!("#{red:02x}{green:02x}{blue:02x}")
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}

fn points(points: &[(f64, f64)]) -> String {
    let mut text = String::with_capacity(points.len() * 12);
    for (x, y) in points {
        // Writing to a string cannot fail.
        let _ = write!(text, "{x:.1},{y:.1} ");
    }
    text
}

/// The picture as an element.
pub(in super::super) fn svg(picture: &Picture) -> String {
    let Picture { width, height, .. } = picture;
    let mut text = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" role=\"img\" aria-label=\"{}\">",
        escaped(&picture.told)
    );
    for shape in &picture.shapes {
        let _ = write!(text, "{}", element(shape));
    }
    text + "</svg>"
}

fn element(shape: &Shape) -> String {
    match shape {
        Shape::Line {
            points: line,
            colour,
            width,
            dashed,
        } => format!(
            "<polyline points=\"{}\" fill=\"none\" stroke=\"{}\" stroke-width=\"{width}\"{}/>",
            points(line),
            hex(*colour),
            if *dashed {
                " stroke-dasharray=\"5 4\""
            } else {
                ""
            }
        ),
        Shape::Area {
            points: area,
            colour,
            opacity,
        } => format!(
            "<polygon points=\"{}\" fill=\"{}\" fill-opacity=\"{opacity}\"/>",
            points(area),
            hex(*colour)
        ),
        Shape::Mark { at, kind, size } => mark(*at, *kind, *size),
        Shape::Words {
            at,
            anchor,
            size,
            colour,
            text,
        } => {
            let anchor = match anchor {
                Anchor::Start => "start",
                Anchor::Middle => "middle",
                Anchor::End => "end",
            };
            format!(
                "<text x=\"{:.1}\" y=\"{:.1}\" font-size=\"{size}\" text-anchor=\"{anchor}\" fill=\"{}\">{}</text>",
                at.0,
                at.1,
                hex(*colour),
                escaped(text)
            )
        }
    }
}

fn mark(at: (f64, f64), kind: Kind, size: f64) -> String {
    let colour = hex(kind.colour());
    if kind == Kind::Good {
        let radius = 0.8 * size;
        return format!(
            "<circle cx=\"{:.1}\" cy=\"{:.1}\" r=\"{radius:.1}\" fill=\"{colour}\"/>",
            at.0, at.1
        );
    }
    let corners = corners(at, kind, size);
    let (fill, stroke) = match kind {
        Kind::TooMuch => (colour.as_str(), "#222222"),
        _ => ("#ffffff", colour.as_str()),
    };
    let width = if kind == Kind::TooMuch { 0.7 } else { 1.8 };
    format!(
        "<polygon points=\"{}\" fill=\"{fill}\" stroke=\"{stroke}\" stroke-width=\"{width}\"/>",
        points(&corners)
    )
}

/// The corners of a mark that is not round.
pub(in super::super) fn corners((x, y): (f64, f64), kind: Kind, size: f64) -> Vec<(f64, f64)> {
    let of: &[(f64, f64)] = match kind {
        Kind::TooLittle => &[(-1.0, -0.8), (1.0, -0.8), (0.0, 1.0)],
        Kind::TooMuch => &[(-1.0, 0.8), (1.0, 0.8), (0.0, -1.0)],
        Kind::Good | Kind::Open => &[(-1.0, 0.0), (0.0, -1.1), (1.0, 0.0), (0.0, 1.1)],
    };
    of.iter()
        .map(|(dx, dy)| (x + dx * size, y + dy * size))
        .collect()
}
