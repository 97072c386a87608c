//! One print's way through the heat.

use inkdwell_config::quantity::{MetresPerSecond, Seconds};

use super::HeatError;
use super::column::{Column, State};
use super::curve::Curve;
use super::history::{Books, ClothHistory, History, PrintHistory};
use super::journey::{Journey, Pace};
use super::march::March;
use super::oven::Oven;
use super::print::{Grid, Print};
use super::surroundings::Surroundings;

/// Which columns to compute.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Columns {
    /// The print alone.
    Print,
    /// The print and the unprinted cloth beside it.
    PrintAndCloth,
}

/// How finely the model computes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Model {
    /// Through the thickness.
    pub grid: Grid,
    /// Along the way.
    pub pace: Pace,
    /// How long a print is followed after the heat.
    pub after: Seconds,
}

impl Default for Model {
    fn default() -> Model {
        Model {
            grid: Grid::USUAL,
            pace: Pace::USUAL,
            after: Seconds(75.0),
        }
    }
}

impl Model {
    /// Sends a print through a dryer at a steady belt speed.
    ///
    /// # Errors
    /// Where the parameters lie beyond anything physical.
    pub fn ride(
        &self,
        oven: &Oven,
        print: &Print,
        speed: MetresPerSecond,
        columns: Columns,
    ) -> Result<History, HeatError> {
        let journey = Journey::by_belt(oven, speed, self.after, self.pace);
        self.run(oven, print, &journey, columns)
    }

    /// Leaves a print under the lamp of a flash unit for a while.
    ///
    /// # Errors
    /// Where the parameters lie beyond anything physical.
    pub fn flash(
        &self,
        oven: &Oven,
        print: &Print,
        stay: Seconds,
        columns: Columns,
    ) -> Result<History, HeatError> {
        let journey = Journey::under_lamp(oven, stay, self.after, self.pace);
        self.run(oven, print, &journey, columns)
    }

    /// Follows a print, and if asked the cloth beside it, along a journey.
    ///
    /// # Errors
    /// Where the parameters lie beyond anything physical.
    pub fn run(
        &self,
        oven: &Oven,
        print: &Print,
        journey: &Journey,
        columns: Columns,
    ) -> Result<History, HeatError> {
        let start = oven.room.temperature;
        let edges = oven.edges();
        let around = Around::along(oven, &edges, journey);
        let cloth = match columns {
            Columns::Print => None,
            Columns::PrintAndCloth => Some(self.unprinted(
                &print.bare().cut(self.grid, &oven.backing, start),
                journey,
                &around,
            )?),
        };
        let cut = print.cut(self.grid, &oven.backing, start);
        Ok(History {
            print: printed(&cut, journey, &around)?,
            cloth,
            exit: journey.exit(),
        })
    }

    fn unprinted(
        &self,
        cut: &(Column, State),
        journey: &Journey,
        around: &Around,
    ) -> Result<ClothHistory, HeatError> {
        let (column, _) = cut;
        let knots = journey.times.len();
        let mut top = Curve::with_capacity(knots);
        let mut hottest = Curve::with_capacity(knots);
        let books = follow(cut, journey, &around.cloth, |time, march| {
            let celsius = &march.state.celsius;
            top.push(time, celsius[0], march.slope(0));
            let node = (0..=column.lowest_cloth).fold(0, |best, node| {
                if celsius[node] > celsius[best] {
                    node
                } else {
                    best
                }
            });
            hottest.push(time, celsius[node], march.slope(node));
        })?;
        Ok(ClothHistory {
            top,
            hottest,
            books,
        })
    }
}

fn printed(
    cut: &(Column, State),
    journey: &Journey,
    around: &Around,
) -> Result<PrintHistory, HeatError> {
    let (column, _) = cut;
    let knots = journey.times.len();
    let mut curves =
        [0, column.interface, column.lowest_cloth].map(|node| (node, Curve::with_capacity(knots)));
    let books = follow(cut, journey, &around.print, |time, march| {
        for (node, curve) in &mut curves {
            curve.push(time, march.state.celsius[*node], march.slope(*node));
        }
    })?;
    let [(_, film_top), (_, film_bottom), (_, underside)] = curves;
    Ok(PrintHistory {
        film_top,
        film_bottom,
        underside,
        books,
    })
}

/// Surroundings at the start and then twice a step, for both columns.
struct Around {
    print: Vec<Surroundings>,
    cloth: Vec<Surroundings>,
}

impl Around {
    fn along(oven: &Oven, edges: &[f64], journey: &Journey) -> Around {
        let knots = journey.positions.len();
        let mut along = Around {
            print: Vec::with_capacity(2 * knots),
            cloth: Vec::with_capacity(2 * knots),
        };
        let mut add = |position: f64| {
            let [print, cloth] = oven.around(edges, position);
            along.print.push(print);
            along.cloth.push(cloth);
        };
        add(journey.positions[0]);
        for knot in 0..knots - 1 {
            add(journey.within(knot));
            add(journey.positions[knot + 1]);
        }
        along
    }
}

/// Steps a column along a journey, showing it at every knot.
fn follow(
    (column, start): &(Column, State),
    journey: &Journey,
    around: &[Surroundings],
    mut show: impl FnMut(f64, &March),
) -> Result<Books, HeatError> {
    let mut march = March::new(column, start.clone(), &around[0]);
    show(journey.times[0], &march);
    for (knot, pair) in journey.times.windows(2).enumerate() {
        let seconds = pair[1] - pair[0];
        let from = 2 * knot;
        march.step(seconds, &[around[from], around[from + 1], around[from + 2]])?;
        show(pair[1], &march);
    }
    Ok(Books::new(
        column.held(start),
        column.held(&march.state),
        &march.totals,
    ))
}
