//! A disk that is full for a while, under a daemon that reads a device which cannot wait.

use std::io::Write;
use std::path::Path;
use std::process::Command;

use inkdwell_daemon::journal::Settings;
use inkdwell_daemon::record::Occurrence;
use inkdwell_daemon::shift;

use crate::common::{
    FASTER, film, happened, health, judged, open, options, passes, ride, shop, stop, until,
};
use crate::device::{Device, keys};

/// A file system of a few megabytes.
struct SmallDisk<'a>(&'a Path);

impl SmallDisk<'_> {
    fn mount(at: &Path) -> Option<SmallDisk<'_>> {
        let mut mount = Command::new("mount");
        mount
            .args(["-t", "tmpfs", "-o", "size=24m", "tmpfs"])
            .arg(at);
        let mounted = mount.output().is_ok_and(|output| output.status.success());
        mounted.then_some(SmallDisk(at))
    }

    /// Fills it to the last byte.
    fn fill(&self) {
        let mut filler = std::fs::File::create(self.0.join("filler")).unwrap();
        for size in [1 << 20, 1 << 12, 1] {
            while filler.write_all(&vec![1; size]).is_ok() {}
        }
    }

    fn clear(&self) {
        std::fs::remove_file(self.0.join("filler")).unwrap();
    }
}

impl Drop for SmallDisk<'_> {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(self.0).status();
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_full_disk_is_told_and_waited_out() {
    let place = tempfile::tempdir().unwrap();
    let Some(disk) = SmallDisk::mount(place.path()) else {
        // Written past the test runner, which would keep it to itself.
        let _ = writeln!(
            std::io::stderr(),
            "SKIPPED: the test of a daemon on a full disk needs the right to mount a tmpfs (run it as root)"
        );
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("adapter");
    let mut device = Device::plug(&name);
    let shop = shop(&[("line", keys(&name))]);
    let mut options = options(shop, &place.path().join("data"), FASTER);
    options.journal = Settings {
        keep_free: Some(1 << 20),
        ..Settings::default()
    };
    let shift = shift::start(options).await.unwrap();
    open(&shift).await;
    let readers = shift.readers().clone();
    device.greet(&health(&shift, "line")).await;
    let (cured, too_cool) = (ride(172.0), ride(140.0));
    let (first, second) = cured.split_at(cured.len() / 2);
    device.ride(first).await;
    let before = first.len();
    until("the first half", || {
        (film(&readers, "line").len() == before).then_some(())
    })
    .await;

    disk.fill();
    device.ride(second).await;
    until("the full disk", || shift.disk_is_full().then_some(())).await;
    // What is said meanwhile waits; the journal has not grown.
    device.ride(&too_cool).await;
    assert_eq!(film(&readers, "line").len(), before);
    assert!(passes(&readers).is_empty());
    disk.clear();
    let said = cured.len() + too_cool.len();
    until("all readings", || {
        (film(&readers, "line").len() == said).then_some(())
    })
    .await;
    until("the end of it", || (!shift.disk_is_full()).then_some(())).await;
    until("a word of it", || {
        let mut all = happened(&readers).into_iter();
        all.find(|(_, what)| matches!(what, Occurrence::DiskFree { .. }))
    })
    .await;
    let readers = stop(shift).await;

    let heard: Vec<f64> = film(&readers, "line")
        .into_iter()
        .map(|reading| reading.1)
        .collect();
    let expected: Vec<f64> = [cured, too_cool]
        .concat()
        .into_iter()
        .map(|point| point.1)
        .collect();
    assert_eq!(heard, expected);
    let passes = passes(&readers);
    let told: Vec<_> = passes
        .iter()
        .map(|pass| (judged(pass).verdict.as_str(), judged(pass).gaps))
        .collect();
    assert_eq!(told, [("cured", 0), ("under-cured", 0)]);
    let full = happened(&readers).into_iter();
    let full: Vec<Occurrence> = full
        .map(|(_, what)| what)
        .filter(|what| {
            matches!(
                what,
                Occurrence::DiskFull | Occurrence::DiskFree { .. } | Occurrence::TurnedAway { .. }
            )
        })
        .collect();
    let [Occurrence::DiskFull, Occurrence::DiskFree { after_s }] = full[..] else {
        panic!("{full:?}");
    };
    assert!(after_s > 0.0);
}
