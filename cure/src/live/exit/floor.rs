//! The floor's part of exit evidence: which rides there are, and what leaves.

use std::sync::Arc;

use inkdwell_config::quantity::Celsius;

use super::super::Floor;
use super::super::event::{FloorEvent, PrintLeft, SeenBy, SeenPass};
use super::super::passes::mean_speed;
use super::super::readings::tell_change;
use super::ride::RecipeRide;
use super::watch::{Left, LeftPrint, Look, Step};

impl Floor {
    /// Tells of the ride that a recipe leans on: from now on prints under the recipe are waited for at the
    /// exit probes.
    pub fn know_ride(&mut self, recipe: u64, ride: Arc<RecipeRide>) {
        self.rides.insert(recipe, ride);
    }

    /// The ride that a recipe leans on, if it is known.
    pub fn ride(&self, recipe: u64) -> Option<&Arc<RecipeRide>> {
        self.rides.get(&recipe)
    }

    /// The rides that are known, to be given to a floor that takes this one's place.
    pub fn rides(&self) -> impl Iterator<Item = (u64, &Arc<RecipeRide>)> {
        self.rides.iter().map(|(recipe, ride)| (*recipe, ride))
    }

    /// The recipes under which prints are still waited for.
    pub fn recipes_awaited(&self) -> Vec<u64> {
        let watches = self.state.exits.iter();
        watches.flat_map(|(_, watch)| watch.recipes()).collect()
    }

    /// A ride that was judged good keeps its recipe's evidence fresh.
    pub(in super::super) fn note_ridden(&mut self, station: usize, batch: Option<u64>, end: f64) {
        let open = self.state.stations[station].batch.as_ref();
        let recipe = open.filter(|open| Some(open.number) == batch);
        if let Some(recipe) = recipe.and_then(|open| open.recipe.as_ref()) {
            let at = self.state.origin.plus_seconds(end);
            self.state.ridden.insert(recipe.recipe, at);
        }
    }

    /// Looks for prints that have left a station; `last`: nothing more will come.
    pub(in super::super) fn look_at_exit(
        &mut self,
        station: usize,
        last: bool,
        events: &mut impl FnMut(FloorEvent),
    ) {
        let Some(plan) = &self.exit_plans[station] else {
            return;
        };
        let watch = &mut self.state.exits[station].1;
        let left = watch.look(&Look {
            plan,
            rides: &self.rides,
            ridden: &self.state.ridden,
            origin: self.state.origin,
            belt: &self.state.stations[station].belt,
            last,
        });
        for left in left {
            match left {
                Left::Print(print) => self.tell_left(station, *print, events),
                Left::Unseen(step) => {
                    let seen = self.unseen(station, &step);
                    events(FloorEvent::PassEnded(Box::new(seen)));
                }
            }
        }
    }

    fn tell_left(&mut self, station: usize, print: LeftPrint, events: &mut impl FnMut(FloorEvent)) {
        let at = &mut self.state.stations[station];
        let counted = print.step.and_then(|step| step.print);
        let number = counted.or_else(|| Some(at.prints.next(print.batch, 0)));
        let (start, end) = (print.start, print.end);
        let belt = mean_speed(&at.belt, print.heated.0, print.heated.1);
        if let (Some(shown), Some(kept)) = (print.shown, &mut at.kept) {
            let change = kept.exit(&print.probe, Celsius(shown));
            tell_change(&at.id, kept.recipe(), change, end, events);
        }
        let seen = SeenPass {
            station: at.id.clone(),
            probe: Some(print.probe),
            by: SeenBy::Exit,
            start,
            end,
            batch: Some(print.batch),
            print: number,
            belt,
            judged: None,
            peak: None,
        };
        events(FloorEvent::PrintLeft(Box::new(PrintLeft {
            seen,
            recipe: print.recipe,
            laws: print.laws.laws,
            window: print.window,
        })));
    }

    /// A print that was counted and that no probe saw.
    pub(in super::super) fn unseen(&self, station: usize, step: &Step) -> SeenPass {
        let declared = &self.plan.stations[station];
        let belt = &self.state.stations[station].belt;
        let at = self.state.origin.plus_seconds(step.time);
        let entered = belt.when(belt.way(step.time) - declared.heated_length.0);
        SeenPass {
            station: declared.id.clone(),
            probe: None,
            by: SeenBy::Counter,
            start: at,
            end: at,
            batch: step.batch,
            print: step.print,
            belt: mean_speed(belt, entered.min(step.time), step.time),
            judged: None,
            peak: None,
        }
    }
}
