//! How far a sink has come with the readings, and what of them was refused.

use super::{Outbox, Over};
use crate::journal::{CommitNumber, KeptAside, SetAside};

/// Pieces of readings that are asked for again at once.
const PIECES: u64 = 64;

impl Outbox {
    /// Readings are settled up to a commit: so many points of them were taken.
    pub(in crate::sink) fn readings_sent(&mut self, commit: CommitNumber, points: u64) {
        self.health.sent(points, self.common.steady.now());
        self.standing.commit = commit;
        self.common.ledger.note(self.standing.clone());
    }

    /// The same where some of them were refused for good, or were forgotten before they could be sent. Returns
    /// once that is on the disk.
    pub(in crate::sink) async fn readings_set_aside(
        &mut self,
        commit: CommitNumber,
        points: u64,
        reasons: Vec<(Option<CommitNumber>, String)>,
    ) -> Result<(), Over> {
        self.health.sent(points, self.common.steady.now());
        self.standing.commit = commit;
        for (after, why) in reasons {
            tracing::warn!(sink = self.sink, "readings set aside: {why}");
            let new = SetAside {
                readings: after.map(|after| (after, commit)),
                ..self.refused_now(why)
            };
            self.keep_aside(new, None).await?;
        }
        Ok(())
    }

    /// Readings that were set aside and somebody wants to be sent again.
    pub(in crate::sink) async fn readings_again(&mut self) -> Result<Vec<KeptAside>, Over> {
        let (settled, sink) = (self.common.ledger.settled(), self.sink.clone());
        let most = PIECES + settled.len() as u64;
        let mut asked = self
            .look(move |reader, _, _| reader.asked_again(&sink, false, most))
            .await?;
        asked.retain(|own| !settled.contains(&own.number));
        Ok(asked)
    }

    /// They were sent again: so many points were taken, and perhaps some were refused once more.
    pub(in crate::sink) async fn readings_sent_again(
        &mut self,
        aside: &KeptAside,
        points: u64,
        refused: Option<String>,
    ) -> Result<(), Over> {
        self.health.sent(points, self.common.steady.now());
        match refused {
            None => {
                self.common.ledger.settle(aside.number);
                Ok(())
            }
            Some(why) => {
                let new = SetAside {
                    readings: aside.readings,
                    ..self.refused_now(why)
                };
                self.keep_aside(new, Some(aside.number)).await
            }
        }
    }

    /// The last commit whose readings are settled.
    pub(in crate::sink) fn readings_from(&self) -> CommitNumber {
        self.standing.commit
    }

    /// The last commit.
    pub(in crate::sink) fn last_commit(&self) -> CommitNumber {
        self.common.ledger.now().commit
    }
}
