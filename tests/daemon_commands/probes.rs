//! Probes: listed and calibrated.

use super::daemon::{assert_fits, assert_holds, await_rides, local};

#[test]
fn probes_are_listed_and_calibrated() {
    let daemon = local();
    await_rides(&daemon);
    let listed = daemon.good(&["probe", "list"]);
    assert_fits(&listed);
    assert_holds(
        &listed,
        &[
            "probe  place  station  shows   since",
            "film   ride   belt-1",
            "1.5 °C",
            "never calibrated",
            // Type K, class 2: 2 × 2.5/√3 °C (IEC 60584-1; rectangular as in JCGM 100, 4.3.7).
            "2.9 °C*",
            "class 2 of its thermocouple type",
        ],
    );
    let calibrate = |point: &'static str, due: &'static str| {
        [
            "probe",
            "calibrate",
            "film",
            "--point",
            point,
            "--point",
            "320 F=161.8 C",
            "--uncertainty",
            "0.8 C",
            "--date",
            "2026-02-02",
            "--due",
            due,
        ]
    };
    let calibrated = daemon.good(&calibrate("100 C=101.2 C", "2026-02-03"));
    assert_holds(
        &calibrated,
        &[
            "100 °C is shown where 101.2 °C is true",
            "160 °C is shown where 161.8 °C is true",
            // √(1.5² + 0.8²) = 1.7
            "1.7 °C at 160 °C, with the next batch",
            "OVERDUE since 2026-02-03",
        ],
    );
    assert_holds(
        &daemon.good(&["probe", "list"]),
        &["OVERDUE since 2026-02-03"],
    );
    for (wrong, sentence) in [
        (
            calibrate("100", "2027-02-02").to_vec(),
            "--point: \"100\" is none; write what was shown",
        ),
        (
            calibrate("100=101.2 C", "2027-02-02").to_vec(),
            "--point: 100 has no unit; write",
        ),
        (
            calibrate("170 C=171 C", "2027-02-02").to_vec(),
            "the points: what was true has to rise",
        ),
        (
            calibrate("100 C=101.2 C", "2026-02-02").to_vec(),
            "due: 2026-02-02 is not after 2026-02-02",
        ),
    ] {
        let refused = daemon.refused(&wrong);
        assert!(refused.starts_with(sentence), "{refused}");
    }
    let unknown = [
        "probe",
        "calibrate",
        "flim",
        "--point",
        "100 C=101 C",
        "--date",
        "2026-02-02",
    ];
    let sentence = "the shop file declares no probe \"flim\"; did you mean \"film\"?";
    assert_eq!(daemon.refused(&unknown), sentence);
}
