//! What tuning cannot use ends with exit code 2 and says what to do.

use std::fs;

use super::{RIDES, job, samples_folder, tune};

#[test]
fn bad_input_ends_with_2_and_what_to_do() {
    let folder = samples_folder();
    let at = folder.path();
    let ride = fs::read_to_string(at.join(RIDES[0])).expect("there");
    let edited = |name: &str, edit: &dyn Fn(Vec<&str>) -> Option<String>| {
        let lines = ride
            .lines()
            .filter_map(|line| edit(line.split(',').collect()));
        fs::write(
            at.join(name),
            lines.map(|line| line + "\n").collect::<String>(),
        )
        .expect("written");
    };
    let is_note = |cells: &[&str]| cells[0].starts_with('#');
    edited("elsewhere.csv", &|cells| {
        Some(cells.join(",").replace("belt-1", "belt-9"))
    });
    edited("no-belt.csv", &|cells| {
        if cells[0].starts_with("# belt") {
            None
        } else if is_note(&cells) {
            Some(cells.join(","))
        } else {
            Some(cells[..3].join(","))
        }
    });
    edited("cold.csv", &|cells| {
        let is_row = cells[0].parse::<f64>().is_ok();
        Some(if is_row {
            format!("{},22.0,22.0,,2.2", cells[0])
        } else {
            cells.join(",")
        })
    });
    edited("stood.csv", &|cells| {
        (!is_note(&cells)).then(|| {
            let is_row = cells[0].parse::<f64>().is_ok();
            if is_row {
                format!("{},{},{},,0", cells[0], cells[1], cells[2])
            } else {
                cells.join(",")
            }
        })
    });
    fs::write(
        at.join("thin.toml"),
        "[[ink]]\nid = \"no-film\"\nname = \"No film\"\nfamily = \"plastisol\"\n\
         cure = { law = \"hold\", at = \"160 C\", for = \"3 s\" }\nsource = \"test\"\n",
    )
    .expect("written");
    let cases: Vec<(Vec<&str>, &str, &str)> = vec![
        (
            job(&["elsewhere.csv"], &[]),
            "elsewhere.csv:2: station",
            "name rides of \"belt-1\"",
        ),
        (
            job(&["no-belt.csv"], &[]),
            "no-belt.csv: nothing says how fast",
            "# belt: 2.6 m/min",
        ),
        (
            job(&["cold.csv"], &[]),
            "cold.csv: the probe never rose above 45 °C",
            "lay in the ink",
        ),
        (
            job(&["stood.csv"], &[]),
            "stood.csv: nothing says how fast",
            "# belt: 2.6 m/min",
        ),
        (
            job(&["cut-ride.csv"], &[]),
            "cut-ride.csv: the trace begins or ends",
            "ride again",
        ),
        (
            job(&["five-prints.csv"], &[]),
            "five-prints.csv: holds 5 passes",
            "a file of its own",
        ),
        (
            job(&["flash.csv"], &[]),
            "flash.csv:2: station",
            "its own station",
        ),
        (
            job(&["gone.csv"], &[]),
            "gone.csv: cannot be read",
            "check its name",
        ),
        (
            job(&RIDES[..1], &["--channel", "ink"]),
            "no such ride channel",
            "film_c",
        ),
        (
            job(&RIDES[..1], &["--at", "3"]),
            "--at: 3 has no unit",
            "3 m/min",
        ),
        (
            job(&RIDES[..1], &["--at", "-3 m/min"]),
            "--at",
            "write for example",
        ),
        (
            job(&RIDES[..1], &["--at", "0 m/min"]),
            "--at",
            "write for example",
        ),
        (
            job(&RIDES[..1], &["--what-if", "mass"]),
            "changes nothing",
            "mass=",
        ),
        (
            job(&RIDES[..1], &["--what-if", "colour=red"]),
            "names nothing",
            "mass=",
        ),
        (
            job(&RIDES[..1], &["--what-if", "zone3=180 C"]),
            "has not",
            "zone1=",
        ),
        (
            job(&RIDES[..1], &["--what-if", "panel1=400 C"]),
            "that zone has not",
            "zone1=",
        ),
        (
            job(&RIDES[..1], &["--what-if", "film=5 m"]),
            "beyond what can be",
            "1 um to 5 mm",
        ),
        (
            job(&RIDES[..1], &["--what-if", "mesh=230"]),
            "is no screen",
            "230/48 um",
        ),
        (
            job(&RIDES[..1], &["--what-if", "strokes=2"]),
            "without the screen",
            "mesh=",
        ),
        (
            job(&RIDES[..1], &["--what-if", "slowest=7 m/min"]),
            "slowest belt",
            "change slowest",
        ),
        (
            job(&RIDES[..1], &["--final"]),
            "--final: belt-1 is a belt dryer",
            "leave it out",
        ),
        (
            job(&RIDES[..1], &["--plot", "x.pdf"]),
            "x.pdf",
            ".svg or .png",
        ),
        (
            vec![
                "--ink",
                "no-film",
                "--fabric",
                "cotton-jersey",
                "--shop",
                "shop.toml",
                "--inks",
                "thin.toml",
                "--station",
                "belt-1",
                "--ride",
                RIDES[0],
            ],
            "no-film does not say how thick its film is",
            "add film =",
        ),
        (
            vec![
                "--ink",
                "plastisol-standrd",
                "--fabric",
                "cotton-jersey",
                "--shop",
                "shop.toml",
                "--station",
                "belt-1",
                "--ride",
                RIDES[0],
            ],
            "--ink",
            "plastisol-standard",
        ),
        (
            vec![
                "--ink",
                "plastisol-standard",
                "--fabric",
                "cotton-jersey",
                "--shop",
                "shop.toml",
                "--station",
                "belt-2",
                "--ride",
                RIDES[0],
            ],
            "--station",
            "belt-1",
        ),
        (
            vec![
                "--ink",
                "plastisol-standard",
                "--fabric",
                "cotton-jersey",
                "--station",
                "belt-1",
                "--ride",
                RIDES[0],
            ],
            "--shop",
            "name the shop file",
        ),
    ];
    for (call, what, remedy) in cases {
        let (code, said, error) = tune(at, &call);
        assert_eq!((code, said.as_str()), (2, ""), "{call:?}: {error}");
        assert!(
            error.contains(what) && error.contains(remedy),
            "{call:?}: {error}"
        );
    }
}
