//! How often a line usually speaks, and when its silence is odd.

use std::time::Duration;

use tokio::time::Instant;

/// So many intervals are remembered.
const REMEMBERED: usize = 8;
/// Fewer tell nothing.
const TELLING: usize = 4;
/// No shorter silence is odd.
const SHORTEST: Duration = Duration::from_secs(10);
/// Nor one that is not so many times as long as the longest of late.
const TIMES: u32 = 5;
/// After every time that opening anew did not help, the next waits twice as long, but never longer.
const LONGEST: Duration = Duration::from_secs(600);

/// The rhythm of a line.
#[derive(Debug, Default)]
pub(super) struct Rhythm {
    intervals: Vec<Duration>,
    /// Where in `intervals` the next is put.
    next: usize,
    /// When it last spoke; `None` since the port was opened or silence was found odd.
    last: Option<Instant>,
    /// How often opening anew did not help.
    vain: u32,
}

impl Rhythm {
    /// It has spoken.
    pub(super) fn heard(&mut self, now: Instant) {
        if let Some(last) = self.last {
            let interval = now.duration_since(last);
            match self.intervals.get_mut(self.next) {
                Some(oldest) => *oldest = interval,
                None => self.intervals.push(interval),
            }
            self.next = (self.next + 1) % REMEMBERED;
        }
        self.last = Some(now);
        self.vain = 0;
    }

    /// The port is opened, or opened anew. The pause is no interval.
    pub(super) fn opened(&mut self) {
        self.last = None;
    }

    /// The port was opened anew because of silence.
    pub(super) fn opened_in_vain(&mut self) {
        self.vain = self.vain.saturating_add(1);
        self.last = None;
    }

    /// The silence after which something is wrong although the port is there; `None` where it has no
    /// rhythm yet.
    pub(super) fn odd_silence(&self) -> Option<Duration> {
        if self.intervals.len() < TELLING {
            return None;
        }
        let longest = self.intervals.iter().max().copied().unwrap_or_default();
        let odd = (longest * TIMES).max(SHORTEST);
        let doubled = odd.saturating_mul(1 << self.vain.min(16));
        Some(doubled.min(LONGEST.max(odd)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn silence_is_odd_by_the_line_s_own_rhythm() {
        let begun = Instant::now();
        let at = |seconds: u64| begun + Duration::from_secs(seconds);
        let mut rhythm = Rhythm::default();
        rhythm.opened();
        for second in 0..4 {
            rhythm.heard(at(second));
            assert_eq!(rhythm.odd_silence(), None);
        }
        rhythm.heard(at(4));
        assert_eq!(rhythm.odd_silence(), Some(SHORTEST));
        // Three lines in a row, then half a minute of silence: five times that is odd.
        rhythm.heard(at(34));
        assert_eq!(rhythm.odd_silence(), Some(Duration::from_secs(150)));
        for second in 35..35 + REMEMBERED as u64 {
            rhythm.heard(at(second));
        }
        assert_eq!(rhythm.odd_silence(), Some(SHORTEST));
    }

    #[test]
    fn a_pause_is_no_interval_and_vain_openings_become_rare() {
        let begun = Instant::now();
        let at = |seconds: u64| begun + Duration::from_secs(seconds);
        let mut rhythm = Rhythm::default();
        (0..5).for_each(|second| rhythm.heard(at(second)));
        let mut odd = SHORTEST;
        for _ in 0..40 {
            assert_eq!(rhythm.odd_silence(), Some(odd));
            rhythm.opened_in_vain();
            odd = (odd * 2).min(LONGEST);
        }
        rhythm.heard(at(5000));
        rhythm.heard(at(5001));
        assert_eq!(rhythm.odd_silence(), Some(SHORTEST));
    }
}
