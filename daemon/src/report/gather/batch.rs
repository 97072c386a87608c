//! One batch.

use std::collections::BTreeMap;
use std::rc::Rc;

use inkdwell_config::library::Library;
use inkdwell_cure::statistics::summary::Summary;

use super::super::words::law;
use super::super::{
    Batch, Cost, Departure, Fabric, Hold, Ink, Known, LimitOf, NoteOf, Print, Recipe, ReportError,
    Settings, SettledHow, Span, VerdictCount,
};
use super::sign_offs::Test;
use super::{Desk, Run, figures, proof};
use crate::api::view::Decided;
use crate::journal::{KeptHold, KeptPass};
use crate::record::{Occurrence, RecipeLocked, Settled};
use crate::time::Micros;

/// The verdict's word of a print that nobody judged, since its batch was not known.
const NOT_JUDGED: &str = "not judged";

impl Desk<'_> {
    /// Everything that is told of a batch.
    pub(super) fn batch(&self, run: &Run<'_>, tests: &[Test]) -> Result<Batch, ReportError> {
        let batch = &run.kept.batch;
        let declared = Library::parse("journal", &batch.declared).value;
        let ends = self.end_of(run);
        let holds = self.holds_of(run)?;
        let in_holds = membership(&holds);
        let holds: Vec<Hold> = holds.iter().map(|kept| self.hold(kept)).collect();
        let decided = |at: Micros, by: &str| Decided {
            at: self.clock.moment(at),
            by: by.to_owned(),
        };
        Ok(Batch {
            batch: batch.batch,
            job: batch.job.clone(),
            station: batch.station.clone(),
            opened: decided(run.kept.opened, &batch.by),
            closed: run
                .kept
                .closed
                .as_ref()
                .map(|(at, closed)| decided(*at, &closed.by)),
            ink: self.ink(&declared, &batch.ink),
            fabric: self.fabric(&declared, &batch.fabric),
            last_heat: batch.last_heat,
            quantity: batch.quantity,
            mesh_per_inch: batch.mesh_per_inch,
            ink_mixed: batch.ink_mixed.map(|at| self.clock.moment(at)),
            settings: self.settings(run, ends)?,
            counts: counts(&run.passes),
            proof: proof::proof(&run.passes),
            figures: figures::figures(&run.passes),
            rides: self.rides(run)?,
            scrapped: cost(&holds, batch.blank_cost),
            holds,
            sign_offs: self.sign_offs(run, tests),
            notes: run
                .kept
                .notes
                .iter()
                .map(|(at, noted)| NoteOf {
                    written: decided(*at, &noted.by),
                    note: noted.note.clone(),
                })
                .collect(),
            prints: match self.listed {
                true => run
                    .passes
                    .iter()
                    .map(|kept| self.print(kept, &in_holds))
                    .collect(),
                false => Vec::new(),
            },
        })
    }

    /// When a batch was over, as far as it is known.
    pub(super) fn end_of(&self, run: &Run<'_>) -> Micros {
        let last = run.passes.last().map(|kept| kept.pass.end);
        match &run.kept.closed {
            Some((at, _)) => last.map_or(*at, |last| last.max(*at)),
            None => last.unwrap_or(run.kept.opened),
        }
    }

    fn ink(&self, declared: &Library, id: &str) -> Ink {
        let Some(ink) = declared.inks().first() else {
            let unknown = "not in the journal";
            return Ink {
                id: id.to_owned(),
                name: id.to_owned(),
                law: unknown.to_owned(),
                threshold_c: None,
                source: unknown.to_owned(),
            };
        };
        Ink {
            id: ink.id.clone(),
            name: ink.name.clone(),
            law: law(&ink.cure, self.units),
            threshold_c: Some(ink.threshold.0),
            source: ink.source.clone(),
        }
    }

    fn fabric(&self, declared: &Library, id: &str) -> Fabric {
        let Some(fabric) = declared.fabrics().first() else {
            return Fabric {
                id: id.to_owned(),
                name: id.to_owned(),
                limits: Vec::new(),
                source: "not in the journal".to_owned(),
            };
        };
        Fabric {
            id: fabric.id.clone(),
            name: fabric.name.clone(),
            limits: fabric
                .harms
                .iter()
                .map(|limit| LimitOf {
                    harm: limit.harm.name().to_owned(),
                    law: law(&limit.law, self.units),
                    from_c: limit.law.coolest().0.0,
                })
                .collect(),
            source: fabric.source.clone(),
        }
    }

    fn settings(&self, run: &Run<'_>, ends: Micros) -> Result<Settings, ReportError> {
        let speeds: Vec<f64> = run
            .passes
            .iter()
            .filter_map(|kept| kept.pass.belt_m_per_min)
            .collect();
        let belt_m_per_min = match Summary::of(&speeds) {
            Some(summary) => Known::Is(Span {
                least: summary.least,
                mean: summary.mean,
                greatest: summary.greatest,
            }),
            None => {
                Known::not("Nobody said how fast a belt ran while these prints were in the heat.")
            }
        };
        let recipe = match run.kept.batch.recipe {
            None => Known::not("The batch was held against no recipe."),
            Some(number) => match self.recipe(number)? {
                None => Known::not(format!("The journal has no recipe {number}.")),
                Some(locked) => Known::Is(Recipe {
                    recipe: number,
                    belt_m_per_min: locked.belt_m_per_min,
                    zones_c: locked.zones_c.clone(),
                    departures: self.departures(number, run.kept.opened, ends)?,
                }),
            },
        };
        Ok(Settings {
            belt_m_per_min,
            recipe,
        })
    }

    fn recipe(&self, number: u64) -> Result<Option<Rc<RecipeLocked>>, ReportError> {
        if let Some(known) = self.recipes.borrow().get(&number) {
            return Ok(known.clone());
        }
        let kept = self.reader.recipe(number)?;
        let locked = kept.map(|kept| {
            Rc::new(RecipeLocked {
                reference: None,
                ..kept.recipe
            })
        });
        self.recipes.borrow_mut().insert(number, locked.clone());
        Ok(locked)
    }

    fn departures(
        &self,
        recipe: u64,
        from: Micros,
        ends: Micros,
    ) -> Result<Vec<Departure>, ReportError> {
        let mut departures: Vec<(Micros, Departure)> = Vec::new();
        for kept in self.reader.events(from, Micros(ends.0 + 1))? {
            if kept.record > self.as_of {
                continue;
            }
            match kept.event.what {
                Occurrence::RecipeLeft { recipe: own, what } if own == recipe => {
                    let at = self.clock.moment(kept.at);
                    let lasted_s = None;
                    departures.push((kept.at, Departure { at, what, lasted_s }));
                }
                Occurrence::RecipeMet { recipe: own } if own == recipe => {
                    for (left, departure) in &mut departures {
                        let lasted = kept.at.seconds_since(*left);
                        departure.lasted_s.get_or_insert(lasted);
                    }
                }
                _ => {}
            }
        }
        Ok(departures.into_iter().map(|(_, own)| own).collect())
    }

    /// The holds of the batch that concern the prints which the report is about.
    fn holds_of(&self, run: &Run<'_>) -> Result<Vec<KeptHold>, ReportError> {
        let mut holds = self.reader.holds_as_of(run.kept.batch.batch, self.as_of)?;
        if self.stretch.is_some() && !holds.is_empty() {
            let here: std::collections::HashSet<u64> =
                run.passes.iter().map(|kept| kept.pass.pass).collect();
            for hold in &mut holds {
                hold.passes.retain(|pass| here.contains(pass));
            }
        }
        holds.retain(|hold| !hold.passes.is_empty());
        Ok(holds)
    }

    fn hold(&self, kept: &KeptHold) -> Hold {
        Hold {
            hold: kept.hold.hold,
            verdict: kept.hold.verdict.clone(),
            harm: kept.hold.harm.clone(),
            opened: self.clock.moment(kept.opened),
            passes: kept.passes.clone(),
            settled: kept.settled.as_ref().map(|(at, settled)| SettledHow {
                outcome: settled.outcome,
                why: settled.why.clone(),
                decided: Decided {
                    at: self.clock.moment(*at),
                    by: settled.by.clone(),
                },
            }),
        }
    }

    fn print(&self, kept: &KeptPass, in_holds: &BTreeMap<u64, Vec<u64>>) -> Print {
        let pass = &kept.pass;
        let judged = pass.judged.as_ref();
        let seen = judged.filter(|judged| judged.evidence != "none");
        Print {
            pass: pass.pass,
            // A batch that the engine had forgotten numbers no more prints.
            print: pass.print.filter(|print| *print > 0),
            record: kept.assigned.unwrap_or(kept.record).0,
            at: self.clock.moment(pass.start),
            place: pass.place,
            evidence: judged.map_or("none".to_owned(), |judged| judged.evidence.clone()),
            verdict: judged.map_or(NOT_JUDGED.to_owned(), |judged| judged.verdict.clone()),
            harm: judged.and_then(|judged| judged.harm.clone()),
            peak_c: seen.map(|judged| judged.peak_c),
            time_above_s: seen.map(|judged| judged.time_above_s),
            uncertainty_c: seen.map(|judged| judged.uncertainty_c),
            cure: seen.and_then(|judged| judged.cure),
            harms: seen.map_or(Vec::new(), |judged| judged.harms.clone()),
            belt_m_per_min: pass.belt_m_per_min,
            faults: judged.map_or(0, |judged| judged.faults),
            gaps: judged.map_or(0, |judged| judged.gaps),
            holds: in_holds.get(&pass.pass).cloned().unwrap_or_default(),
            reasons: judged.map_or(Vec::new(), |judged| judged.reasons.clone()),
        }
    }
}

/// By pass, the holds that it is in.
fn membership(holds: &[KeptHold]) -> BTreeMap<u64, Vec<u64>> {
    let mut in_holds: BTreeMap<u64, Vec<u64>> = BTreeMap::new();
    for hold in holds {
        for pass in &hold.passes {
            in_holds.entry(*pass).or_default().push(hold.hold.hold);
        }
    }
    in_holds
}

fn counts(passes: &[KeptPass]) -> Vec<VerdictCount> {
    let mut counts: BTreeMap<(&str, Option<&str>), u64> = BTreeMap::new();
    for kept in passes {
        let judged = kept.pass.judged.as_ref();
        let verdict = judged.map_or(NOT_JUDGED, |judged| judged.verdict.as_str());
        let harm = judged.and_then(|judged| judged.harm.as_deref());
        *counts.entry((verdict, harm)).or_default() += 1;
    }
    let counts = counts.into_iter();
    counts
        .map(|((verdict, harm), prints)| VerdictCount {
            verdict: verdict.to_owned(),
            harm: harm.map(str::to_owned),
            prints,
        })
        .collect()
}

fn cost(holds: &[Hold], blank: Option<f64>) -> Cost {
    let scrapped = holds.iter().filter(|hold| {
        let settled = hold.settled.as_ref();
        settled.is_some_and(|settled| settled.outcome == Settled::Scrapped)
    });
    // A print may be in two holds, and is thrown away once.
    let mut passes: Vec<u64> = scrapped
        .flat_map(|hold| hold.passes.iter().copied())
        .collect();
    passes.sort_unstable();
    passes.dedup();
    let prints = passes.len() as u64;
    let money = match (prints, blank) {
        (0, _) => Known::Is(0.0),
        (prints, Some(blank)) => Known::Is(prints as f64 * blank),
        (_, None) => {
            Known::not("Nobody said what a blank costs; `inkdwell batch open --blank-cost` does.")
        }
    };
    Cost { prints, money }
}
