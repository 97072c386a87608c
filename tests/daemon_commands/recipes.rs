//! Recipes, from lock to retirement.

use super::daemon::{assert_fits, assert_holds, give_rides, local};

#[test]
fn a_recipe_from_lock_to_retirement() {
    let daemon = local();
    give_rides(&daemon);
    let none = daemon.good(&["recipe", "list"]);
    assert_eq!(
        none,
        "No recipe is in force; inkdwell recipe lock PASS locks one.\n"
    );
    let lock = [
        "recipe",
        "lock",
        "1",
        "--ride-every",
        "4 h",
        "--belt-drift",
        "3 %",
    ];
    let locked = daemon.good(&lock);
    assert_fits(&locked);
    assert_holds(
        &locked,
        &[
            "Recipe 1",
            "plastisol-standard on cotton-jersey at belt-1",
            "2.60 m/min, may be 3.0 % off",
            "air shows 190 °C, may be 8 °C off",
            "another is due every 4.0 h",
            "Advice only",
        ],
    );
    for (wrong, sentence) in [
        (
            vec!["recipe", "lock", "2"],
            "pass 2 is under-cured; lock a recipe from a ride that is proved good",
        ),
        (
            vec!["recipe", "lock", "7"],
            "there is no pass 7; inkdwell batch show N shows those of batch N, inkdwell batch unassigned those of none",
        ),
        (
            vec!["recipe", "lock", "1", "--zone-drift", "8"],
            "--zone-drift: 8 has no unit; write \"8 C\" or \"8 F\"",
        ),
        (
            vec!["recipe", "show", "7"],
            "there is no recipe 7; inkdwell recipe list shows those in force",
        ),
        (
            vec!["recipe", "lock", "1", "--belt-drift", "0 %"],
            "the belt's drift cannot be 0; give a number above zero",
        ),
    ] {
        assert_eq!(daemon.refused(&wrong), sentence);
    }
    let listed = daemon.good(&["recipe", "list"]);
    assert_fits(&listed);
    assert_holds(
        &listed,
        &["1       belt-1   2.60 m/min  plastisol-standard on cotton-jersey"],
    );
    let retired = daemon.good(&["recipe", "retire", "1", "--why", "the belt was changed"]);
    assert_eq!(retired, "Recipe 1 is retired.\n");
    let shown = daemon.good(&["recipe", "show", "1"]);
    assert_holds(&shown, &["by mara: the belt was changed"]);
}
