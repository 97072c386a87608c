//! Tuning on the board: what is found from the journal's rides, against shops whose physics is not the model's.

use std::path::Path;

use inkdwell_config::shop::Shop;
use inkdwell_simulated_traces::shop::draw_shop;
use inkdwell_simulated_traces::shop_files::{ShopTruth, shop_files};
use serde_json::json;

use crate::board::{FORM, ask, log_in, page};
use crate::served::{Served, generous, until};

/// The part of a shop file that declares the flash unit.
fn flash_unit(text: &str) -> &str {
    let begin = text.find("[[station]]\nid = \"flash-1\"").unwrap();
    let end = text[begin + 2..].find("\n[[");
    end.map_or(&text[begin..], |end| &text[begin..begin + 2 + end])
}

/// A trace's rows, each as many seconds later.
fn later(trace: &str, by: f64) -> String {
    let rows = trace.lines().filter(|line| !line.starts_with('#')).skip(1);
    let later = rows.map(|row| {
        let (time, rest) = row.split_once(',').unwrap();
        format!("{},{rest}\n", time.parse::<f64>().unwrap() + by)
    });
    later.collect()
}

/// A drawn shop's flash unit, whose heatings are played; what of it is true.
fn played(folder: &Path, seed: u64) -> (Shop, ShopTruth) {
    let files = shop_files(&draw_shop(seed)).unwrap();
    let file = |name: &str| &files.iter().find(|own| own.0 == name).unwrap().1;
    let truth: ShopTruth = serde_json::from_str(file("shop.truth.json")).unwrap();
    let trace = folder.join("heatings.csv");
    let rows =
        [("flash-1.csv", 0.0), ("flash-2.csv", 400.0)].map(|(name, by)| later(file(name), by));
    std::fs::write(
        &trace,
        format!("time_s,surface_c,platen_c\n{}", rows.concat()),
    )
    .unwrap();
    let text = format!(
        "[shop]\nname = \"Lantern Yard Print\"\ntimezone = \"Europe/Vienna\"\n\
         [[source]]\nid = \"lamp\"\nkind = \"replay\"\nfile = {trace:?}\nfaster = 100\n{}\n\
         [[probe]]\nid = \"surface\"\nstation = \"flash-1\"\nplace = \"exit\"\nsource = \"lamp\"\n\
         distance = \"0 cm\"\nspot = \"30 mm\"\nuncertainty = \"1.5 C\"\n\
         [[probe]]\nid = \"platen\"\nstation = \"flash-1\"\nplace = \"platen\"\nsource = \"lamp\"\n\
         uncertainty = \"1 C\"\n",
        flash_unit(file("shop.toml"))
    );
    let checked = Shop::parse("shop.toml", &text);
    assert_eq!(checked.problems, vec![]);
    (checked.value, truth)
}

/// What stands between two texts.
fn between<'a>(text: &'a str, before: &str, after: &str) -> &'a str {
    let (_, rest) = text
        .split_once(before)
        .unwrap_or_else(|| panic!("no {before:?} in {text}"));
    rest.split_once(after).unwrap().0
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_lamp_s_stay_is_found_that_truly_gels() {
    let folder = tempfile::tempdir().unwrap();
    let (shop, truth) = played(folder.path(), 3);
    let served = Served::start(shop, &folder.path().join("data"), generous()).await;
    let (address, token) = (served.serving.address, served.client.token.clone());
    served.played(1).await;
    until("six heatings", || {
        (crate::served::passes(&served.shift).len() == 6).then_some(())
    })
    .await;
    let batch = json!({
        "station": "flash-1", "job": "Harbour run", "ink": truth.ink, "fabric": truth.fabric, "by": "Mara",
    });
    served.client.done("/api/batches", batch).await;
    let passes = json!({ "passes": [1, 2, 3, 4, 5, 6], "by": "Mara" });
    served.client.done("/api/batches/1/passes", passes).await;

    let (_, cookie) = log_in(address, &token).await;
    let origin = format!("Origin: http://{address}");
    let lines = [FORM, cookie.as_str(), origin.as_str()];
    let offered = page(address, "/tune").await.text;
    let of = format!("{} on {} under Drawn flash", truth.ink, truth.fabric);
    assert!(offered.contains(&of), "{offered}");
    let tuned = ask(address, "POST", "/do/tune", &lines, Some("rides=3&rides=6")).await;
    assert_eq!(tuned.status, 200, "{}", tuned.text);
    let text = &tuned.text;
    let stay = between(text, "Leave the lamp over a print for ", " s<");
    let stay: f64 = stay.parse().unwrap();
    // The independent physics says between which stays the surface truly lies in the ink's gel window.
    let (shortest, longest) = (truth.shortest_s.unwrap(), truth.longest_s.unwrap());
    assert!(
        shortest <= stay && stay <= longest,
        "{stay} {shortest} {longest}"
    );
    assert!(text.contains("gels from") && text.contains("gels to"));
    // The warmer the platen, the less a print needs: of the stays on the four platens each is shorter than that before.
    let stays = text.split("<th scope=\"row\">").skip(1).map(|row| {
        let from = between(row, "from ", " s");
        from.parse::<f64>().unwrap()
    });
    let stays: Vec<f64> = stays.collect();
    assert_eq!(stays.len(), 4, "{text}");
    assert!(stays.is_sorted_by(|one, next| one > next), "{stays:?}");
    assert!(
        !text.contains("No probe shows the platen"),
        "a probe shows it"
    );
    assert!(text.contains("wash test decide"), "{text}");
    served.stop().await;
}
