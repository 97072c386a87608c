//! `inkdwell check`: everything that is wrong in a file.

use inkdwell_config::problem::Checked;
use inkdwell_config::read_file;
use inkdwell_config::shop::Shop;

use crate::Outcome;
use crate::arguments::CheckArguments;
use crate::failure::Failure;
use crate::terminal::print;

pub(crate) fn run(typed: &CheckArguments) -> Result<Outcome, Failure> {
    let file = typed.file.display().to_string();
    let text = read_file(&typed.file).map_err(|problem| Failure::from(vec![problem]))?;
    let Checked {
        value: shop,
        problems,
        warnings,
    } = Shop::parse(&file, &text);
    let warned: String = warnings
        .iter()
        .map(|warning| format!("worth a look: {warning}\n"))
        .collect();
    if !problems.is_empty() {
        print(&warned)?;
        return Err(Failure::from(problems));
    }
    print(&format!(
        "{warned}{file}: sound; it declares {}.\n",
        contents(&shop)
    ))?;
    Ok(Outcome::Fine)
}

fn contents(shop: &Shop) -> String {
    let counts = [
        (shop.sources.len(), "source"),
        (shop.stations.len(), "station"),
        (shop.probes.len(), "probe"),
        (shop.signals.len(), "signal"),
        (shop.sinks.len(), "sink"),
        (shop.library.inks().len(), "ink"),
        (shop.library.fabrics().len(), "fabric"),
    ];
    let named: Vec<String> = counts
        .iter()
        .filter(|(count, _)| *count > 0)
        .map(|(count, name)| format!("{count} {name}{}", if *count == 1 { "" } else { "s" }))
        .collect();
    if named.is_empty() {
        "nothing".to_owned()
    } else {
        named.join(", ")
    }
}
