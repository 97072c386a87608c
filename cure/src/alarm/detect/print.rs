//! Verdicts: under-cured, overheated, flashed wrongly, and unproven in a row.

use serde::{Deserialize, Serialize};

use super::{Edge, Said};
use crate::alarm::cause::Cause;
use crate::alarm::kind::Kind;
use crate::judged::Verdict;
use crate::live::{SeenBy, SeenPass};

/// The verdicts of one station's prints. What was bad is over with the next print that is proved good.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub(in crate::alarm) struct Prints {
    under: Edge,
    over: Edge,
    flash: Edge,
    unproven: Edge,
    in_a_row: u64,
}

impl Prints {
    /// A print has left the heat.
    pub(in crate::alarm) fn ended(&mut self, pass: &SeenPass, in_row: u64, said: &mut Said) {
        // A print that was only counted says nothing about the heat: shops that send a ride now and then would
        // have no rest.
        let Some(judged) = pass.judged.as_ref().filter(|_| pass.by != SeenBy::Counter) else {
            return;
        };
        let cause = || Cause::Print {
            print: pass.print,
            peak: pass.peak,
            verdict: judged.verdict.name().to_owned(),
            harm: judged.harm,
        };
        if judged.verdict == Verdict::Unproven {
            self.in_a_row += 1;
            if self.in_a_row >= in_row {
                let (prints, last) = (self.in_a_row, pass.print);
                let cause = Cause::InARow { prints, last };
                self.unproven.again(Kind::PrintsUnproven, said, cause);
            }
            return;
        }
        self.in_a_row = 0;
        self.unproven.clear(Kind::PrintsUnproven, said);
        match judged.verdict {
            Verdict::UnderCured => self.under.again(Kind::PrintUnderCured, said, cause()),
            Verdict::Overheated => self.over.again(Kind::PrintOverheated, said, cause()),
            Verdict::UnderFlashed | Verdict::OverFlashed => {
                self.flash.again(Kind::FlashOffWindow, said, cause());
            }
            Verdict::Cured | Verdict::Gelled | Verdict::Unproven => self.good(said),
        }
    }

    /// The batch is closed.
    pub(in crate::alarm) fn closed(&mut self, said: &mut Said) {
        self.in_a_row = 0;
        self.unproven.clear(Kind::PrintsUnproven, said);
        self.good(said);
    }

    fn good(&mut self, said: &mut Said) {
        self.under.clear(Kind::PrintUnderCured, said);
        self.over.clear(Kind::PrintOverheated, said);
        self.flash.clear(Kind::FlashOffWindow, said);
    }
}
