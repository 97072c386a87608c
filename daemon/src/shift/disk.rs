//! How much room there is on the journal's disk.

use std::path::PathBuf;
use std::time::{Duration, Instant};

use crate::record::Occurrence;

/// It is looked at this often.
const EVERY: Duration = Duration::from_secs(30);
/// The share of the disk that has to be free where the shop file does not say.
const SHARE: f64 = 0.05;
/// So many bytes have to be free in any case.
const LEAST: u64 = 1_000_000_000;
/// There is room again once this many times what is asked for is free.
const AGAIN: f64 = 1.2;

/// Watches the disk of a folder.
#[derive(Debug)]
pub(super) struct Disk {
    folder: PathBuf,
    looked: Option<Instant>,
    /// Whether there is too little room, as far as was told.
    low: Option<bool>,
}

impl Disk {
    /// Of the folder of a journal.
    pub(super) fn of(folder: PathBuf) -> Disk {
        Disk {
            folder,
            looked: None,
            low: None,
        }
    }

    /// Looks, where it is time to. `share` of the disk has to be free; `told` says whether an alarm stands that
    /// tells of too little room.
    pub(super) fn look(&mut self, share: Option<f64>, told: bool) -> Option<Occurrence> {
        if self.looked.is_some_and(|looked| looked.elapsed() < EVERY) {
            return None;
        }
        self.looked = Some(Instant::now());
        // A disk that does not say has no alarm; the journal finds out when it is full.
        let free = fs4::available_space(&self.folder).ok()?;
        let whole = fs4::total_space(&self.folder).ok()?;
        self.heard(free, whole, share.unwrap_or(SHARE), told)
    }

    /// The disk was found full, or not any more: all is to be told anew.
    pub(super) fn forget(&mut self) {
        (self.low, self.looked) = (None, None);
    }

    fn heard(&mut self, free: u64, whole: u64, share: f64, told: bool) -> Option<Occurrence> {
        let wanted = (whole as f64 * share).max(LEAST as f64);
        let was = self.low.unwrap_or(told);
        let factor = if was { AGAIN } else { 1.0 };
        let low = (free as f64) < wanted * factor;
        let news = self.low != Some(low);
        self.low = Some(low);
        match (low, was) {
            (true, _) if news => Some(Occurrence::DiskLow { free_bytes: free }),
            (false, true) => Some(Occurrence::DiskRoomAgain),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const GB: u64 = 1_000_000_000;

    #[test]
    fn too_little_room_is_told_once_and_so_is_its_end() {
        let mut disk = Disk::of(PathBuf::new());
        let mut told = |free: u64| disk.heard(free * GB, 100 * GB, 0.05, false);
        assert_eq!(told(6), None);
        let low = Occurrence::DiskLow { free_bytes: 4 * GB };
        assert_eq!(told(4), Some(low));
        assert_eq!(told(3), None);
        assert_eq!(told(5), None, "not yet back: the edge would flicker");
        assert_eq!(told(7), Some(Occurrence::DiskRoomAgain));
        assert_eq!(told(7), None);
    }

    /// A small disk needs a whole gigabyte; what was told before a restart is told the end of.
    #[test]
    fn a_restart_and_a_small_disk_are_thought_of() {
        let mut disk = Disk::of(PathBuf::new());
        assert!(disk.heard(GB / 2, 4 * GB, 0.05, false).is_some());
        let mut disk = Disk::of(PathBuf::new());
        let again = disk.heard(50 * GB, 100 * GB, 0.05, true);
        assert_eq!(again, Some(Occurrence::DiskRoomAgain));
    }
}
