//! Programs of the shop's own.

use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::shop::{blocked, fill, identities, parsed, start, text, until};

/// A program that is this script.
fn program(folder: &Path, script: &str) -> PathBuf {
    let path = folder.join("program");
    std::fs::write(&path, format!("#!/bin/sh\n{script}\n")).unwrap();
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o700)).unwrap();
    path
}

fn sink(program: &Path, more: &str) -> String {
    format!(
        "[[sink]]\nid = \"bell\"\nkind = \"command\"\nprogram = {program:?}\nsend = [\"verdicts\"]\n{more}"
    )
}

fn lines(path: &Path) -> Vec<String> {
    let text = std::fs::read_to_string(path).unwrap_or_default();
    text.lines().map(str::to_owned).collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_program_gets_each_message_and_its_arguments_as_they_are() {
    let folder = tempfile::tempdir().unwrap();
    let heard = folder.path().join("heard");
    fill(folder.path(), &[("bell", "command")], 20);
    let script = format!(
        "IFS= read -r line; printf '%s\\n' \"$1|$2|$INKDWELL_KIND|$INKDWELL_MESSAGE|${{CARGO_MANIFEST_DIR:-none}}|$line\" \
         >> {}",
        heard.display()
    );
    let program = program(folder.path(), &script);
    let sinks = sink(&program, "arguments = [\"$(touch gone)\", \"a b; c\"]\n");
    let shift = start(parsed(&text("Lantern Yard", &sinks)), folder.path()).await;
    let heard = until("all of it", || {
        let lines = lines(&heard);
        (lines.len() >= 20).then_some(lines)
    })
    .await;
    let identities = identities(&shift);
    for (pass, line) in (1..).zip(&heard) {
        let parts: Vec<&str> = line.splitn(6, '|').collect();
        assert_eq!(parts[..3], ["$(touch gone)", "a b; c", "verdict"]);
        assert_eq!(parts[3], identities[&(pass + 1)]);
        assert_eq!(parts[4], "none", "the daemon's environment is its own");
        let json: Value = serde_json::from_str(parts[5]).unwrap();
        assert_eq!(
            (&json["pass"], &json["id"]),
            (&Value::from(pass), &Value::from(parts[3]))
        );
    }
    shift.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn one_that_takes_too_long_is_killed_and_one_that_fails_is_set_aside() {
    let folder = tempfile::tempdir().unwrap();
    let heard = folder.path().join("heard");
    fill(folder.path(), &[("bell", "command")], 4);
    // The second print's is slow the first time, the third's always fails.
    let script = format!(
        "IFS= read -r line\n\
         case \"$line\" in\n\
         *'\"pass\":2,'*) [ -e {0}.slow ] || {{ echo $$ > {0}.slow; exec sleep 600; }} ;;\n\
         *'\"pass\":3,'*) echo 'no paper' >&2; exit 3 ;;\n\
         esac\n\
         printf '%s\\n' \"$line\" >> {0}",
        heard.display()
    );
    let program = program(folder.path(), &script);
    let sinks = sink(&program, "timeout = \"1.5 s\"\n");
    let shift = start(parsed(&text("Lantern Yard", &sinks)), folder.path()).await;
    let lines = until("the rest", || {
        let lines = lines(&heard);
        (lines.len() >= 3).then_some(lines)
    })
    .await;
    let passes: Vec<u64> = lines
        .iter()
        .map(|line| {
            serde_json::from_str::<Value>(line).unwrap()["pass"]
                .as_u64()
                .unwrap()
        })
        .collect();
    assert_eq!(passes, [1, 2, 4], "in order");
    let slow = std::fs::read_to_string(heard.with_extension("slow")).unwrap();
    let slow = Path::new("/proc").join(slow.trim());
    assert!(!slow.exists(), "it was killed and waited for");
    let reader = shift.readers().reader().unwrap();
    let (counts, aside) = reader.set_aside("bell", 5).unwrap();
    assert_eq!(counts.kept, 1);
    assert_eq!(aside[0].record.unwrap().0, 4);
    assert!(
        aside[0]
            .why
            .ends_with("ended with exit status: 3: no paper; tried 5 times"),
        "{}",
        aside[0].why
    );
    shift.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_more_run_at_once_than_are_allowed() {
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().join("running");
    std::fs::create_dir(&place).unwrap();
    fill(folder.path(), &[("bell", "command")], 12);
    // Each notes how many there are with it.
    let script = format!(
        "cd {0}; : > $$.on; ls *.on | wc -l >> ../heard; sleep 0.2; rm $$.on; echo >> ../ended",
        place.display()
    );
    let program = program(folder.path(), &script);
    let shift = start(
        parsed(&text("Lantern Yard", &sink(&program, "most_at_once = 3\n"))),
        folder.path(),
    )
    .await;
    until("all of it", || {
        (lines(&folder.path().join("ended")).len() >= 12).then_some(())
    })
    .await;
    let together = lines(&folder.path().join("heard"));
    let most = together
        .iter()
        .map(|line| line.trim().parse::<u64>().unwrap())
        .max();
    assert!((2..=3).contains(&most.unwrap()), "{together:?}");
    shift.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn one_that_is_not_there_is_waited_for() {
    let folder = tempfile::tempdir().unwrap();
    fill(folder.path(), &[("bell", "command")], 2);
    let sinks = sink(&folder.path().join("nothing"), "");
    let shift = start(parsed(&text("Lantern Yard", &sinks)), folder.path()).await;
    let why = blocked(&shift, "bell").await;
    assert!(why.contains("cannot be started"), "{why}");
    assert!(why.contains("correct program in the shop file"), "{why}");
    let reader = shift.readers().reader().unwrap();
    assert_eq!(reader.set_aside("bell", 1).unwrap().0.kept, 0);
    shift.stop().await.unwrap();
}
