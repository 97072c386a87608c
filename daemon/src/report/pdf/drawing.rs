//! Draws pages.

use krilla::color::rgb;
use krilla::geom::{Path, PathBuilder, Point, Transform};
use krilla::num::NormalizedF32;
use krilla::paint::{Fill, Stroke, StrokeDash};
use krilla::surface::Surface;

use super::super::picture::{Anchor, Colour, Kind, Shape, corners};
use super::letters::Face;
use super::paper::{Draw, Paper};

/// Draws one thing.
pub(super) fn draw(surface: &mut Surface<'_>, paper: &Paper, draw: &Draw) {
    match draw {
        Draw::Text {
            x,
            y,
            size,
            bold,
            colour,
            text,
        } => {
            let face = if *bold { &paper.bold } else { &paper.plain };
            words(surface, face, (*x, *y), *size, *colour, text);
        }
        Draw::Rule {
            x,
            y,
            width,
            thick,
            colour,
        } => {
            let path = polyline(&[(*x, *y), (*x + *width, *y)], false);
            stroked(surface, path, *colour, *thick, false);
        }
        Draw::Picture {
            x,
            y,
            scale,
            picture,
        } => {
            surface.push_transform(&Transform::from_row(*scale, 0.0, 0.0, *scale, *x, *y));
            for shape in &picture.shapes {
                shape_of(surface, &paper.plain, shape);
            }
            surface.pop();
        }
    }
}

fn paint(Colour(red, green, blue): Colour) -> rgb::Color {
    rgb::Color::new(red, green, blue)
}

pub(super) fn words(
    surface: &mut Surface<'_>,
    face: &Face,
    at: (f32, f32),
    size: f32,
    colour: Colour,
    text: &str,
) {
    surface.set_stroke(None);
    filling(surface, colour, NormalizedF32::ONE);
    let glyphs = face.glyphs(text);
    surface.draw_glyphs(
        Point::from_xy(at.0, at.1),
        &glyphs,
        face.font(),
        text,
        size,
        false,
    );
}

fn filling(surface: &mut Surface<'_>, colour: Colour, opacity: NormalizedF32) {
    surface.set_fill(Some(Fill {
        paint: paint(colour).into(),
        opacity,
        rule: Default::default(),
    }));
}

fn polyline(points: &[(f32, f32)], closed: bool) -> Option<Path> {
    let mut builder = PathBuilder::new();
    let (first, rest) = points.split_first()?;
    builder.move_to(first.0, first.1);
    for (x, y) in rest {
        builder.line_to(*x, *y);
    }
    if closed {
        builder.close();
    }
    builder.finish()
}

fn stroked(
    surface: &mut Surface<'_>,
    path: Option<Path>,
    colour: Colour,
    width: f32,
    dashed: bool,
) {
    let Some(path) = path else { return };
    surface.set_fill(None);
    surface.set_stroke(Some(Stroke {
        paint: paint(colour).into(),
        width,
        dash: dashed.then(|| StrokeDash {
            array: vec![5.0, 4.0],
            offset: 0.0,
        }),
        ..Stroke::default()
    }));
    surface.draw_path(&path);
    surface.set_stroke(None);
}

fn filled(surface: &mut Surface<'_>, path: Option<Path>, colour: Colour, opacity: f64) {
    let Some(path) = path else { return };
    surface.set_stroke(None);
    let opacity = NormalizedF32::new(opacity as f32).unwrap_or(NormalizedF32::ONE);
    filling(surface, colour, opacity);
    surface.draw_path(&path);
}

fn points(points: &[(f64, f64)]) -> Vec<(f32, f32)> {
    points.iter().map(|(x, y)| (*x as f32, *y as f32)).collect()
}

fn shape_of(surface: &mut Surface<'_>, face: &Face, shape: &Shape) {
    match shape {
        Shape::Line {
            points: line,
            colour,
            width,
            dashed,
        } => stroked(
            surface,
            polyline(&points(line), false),
            *colour,
            *width as f32,
            *dashed,
        ),
        Shape::Area {
            points: area,
            colour,
            opacity,
        } => filled(surface, polyline(&points(area), true), *colour, *opacity),
        Shape::Mark { at, kind, size } => mark(surface, *at, *kind, *size),
        Shape::Words {
            at,
            anchor,
            size,
            colour,
            text,
        } => {
            let size = *size as f32;
            let width = face.width(text, size);
            let shift = match anchor {
                Anchor::Start => 0.0,
                Anchor::Middle => 0.5 * width,
                Anchor::End => width,
            };
            words(
                surface,
                face,
                (at.0 as f32 - shift, at.1 as f32),
                size,
                *colour,
                text,
            );
        }
    }
}

fn mark(surface: &mut Surface<'_>, at: (f64, f64), kind: Kind, size: f64) {
    let colour = kind.colour();
    match kind {
        Kind::Good => filled(surface, round(at, 0.8 * size), colour, 1.0),
        Kind::TooMuch => filled(
            surface,
            polyline(&points(&corners(at, kind, size)), true),
            colour,
            1.0,
        ),
        Kind::TooLittle | Kind::Open => {
            let outline = || polyline(&points(&corners(at, kind, size)), true);
            filled(surface, outline(), Colour(0xff, 0xff, 0xff), 1.0);
            stroked(surface, outline(), colour, 1.8, false);
        }
    }
}

/// A circle of four curves (the usual share, 4/3 (√2 - 1), of the radius for their handles).
fn round((x, y): (f64, f64), radius: f64) -> Option<Path> {
    let (x, y, r) = (x as f32, y as f32, radius as f32);
    let h = r * 4.0 / 3.0 * (std::f32::consts::SQRT_2 - 1.0);
    let mut path = PathBuilder::new();
    path.move_to(x + r, y);
    path.cubic_to(x + r, y + h, x + h, y + r, x, y + r);
    path.cubic_to(x - h, y + r, x - r, y + h, x - r, y);
    path.cubic_to(x - r, y - h, x - h, y - r, x, y - r);
    path.cubic_to(x + h, y - r, x + r, y - h, x + r, y);
    path.close();
    path.finish()
}
