//! A report's prints as lines of a table, each column with its unit in its name.

use inkdwell_daemon::report::{Batch, Print, Report};

/// The columns.
const HEADER: &str = "batch,job,station,ink,fabric,pass,print,record,at,steady_s,place,evidence,verdict,harm,peak_c,\
                      time_above_s,uncertainty_c,cure_low,cure_best,cure_high,worst_harm,worst_harm_low,\
                      worst_harm_best,worst_harm_high,belt_m_per_min,faults,gaps,holds,reasons\n";

/// Every print.
pub(crate) fn prints(report: &Report) -> String {
    let mut text = HEADER.to_owned();
    for batch in &report.batches {
        for print in &batch.prints {
            text += &line(batch, print);
        }
    }
    text
}

fn line(batch: &Batch, print: &Print) -> String {
    let number = |own: Option<f64>| own.map_or(String::new(), |own| own.to_string());
    let worst = print
        .harms
        .iter()
        .max_by(|a, b| a.dose.high.total_cmp(&b.dose.high));
    let place = serde_json::to_value(print.place).unwrap_or_default();
    let holds: Vec<String> = print.holds.iter().map(u64::to_string).collect();
    let cells = [
        batch.batch.to_string(),
        quoted(&batch.job),
        quoted(&batch.station),
        quoted(&batch.ink.id),
        quoted(&batch.fabric.id),
        print.pass.to_string(),
        print.print.map_or(String::new(), |own| own.to_string()),
        print.record.to_string(),
        print.at.at.clone(),
        print.at.steady_s.to_string(),
        place.as_str().unwrap_or_default().to_owned(),
        print.evidence.clone(),
        print.verdict.clone(),
        print.harm.clone().unwrap_or_default(),
        number(print.peak_c),
        number(print.time_above_s),
        number(print.uncertainty_c),
        number(print.cure.map(|dose| dose.low)),
        number(print.cure.map(|dose| dose.best)),
        number(print.cure.map(|dose| dose.high)),
        worst.map_or(String::new(), |own| own.harm.clone()),
        number(worst.map(|own| own.dose.low)),
        number(worst.map(|own| own.dose.best)),
        number(worst.map(|own| own.dose.high)),
        number(print.belt_m_per_min),
        print.faults.to_string(),
        print.gaps.to_string(),
        holds.join(" "),
        quoted(&print.reasons.join(" ")),
    ];
    cells.join(",") + "\n"
}

/// A cell as RFC 4180 has it. One that a spreadsheet would take for a formula is led by an apostrophe.
fn quoted(text: &str) -> String {
    let text = match text.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        true => format!("'{text}"),
        false => text.to_owned(),
    };
    match text.contains([',', '"', '\n', '\r']) {
        true => format!("\"{}\"", text.replace('"', "\"\"")),
        false => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4180, sections 2.5 to 2.7.
    #[test]
    fn cells_are_quoted_where_they_must_be() {
        assert_eq!(quoted("Night market"), "Night market");
        assert_eq!(quoted("12\" hoops, red"), "\"12\"\" hoops, red\"");
        assert_eq!(quoted("=cmd()"), "'=cmd()");
    }
}
