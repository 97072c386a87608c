//! Tables for people: columns side by side, the last one wrapped where the terminal ends.

use crate::terminal::Setting;

/// A table with its heads. Every row has as many cells as there are heads.
pub(super) fn table<const N: usize>(
    heads: [&str; N],
    rows: &[[String; N]],
    setting: Setting,
) -> String {
    let widths: Vec<usize> = (0..N)
        .map(|column| {
            let cells = rows.iter().map(|row| row[column].chars().count());
            cells
                .chain([heads[column].chars().count()])
                .max()
                .unwrap_or(0)
        })
        .collect();
    let line = |cells: [&str; N]| -> (String, usize) {
        let mut lead = String::new();
        for (cell, width) in cells.iter().zip(&widths).take(N - 1) {
            lead += &format!("{cell:width$}  ");
        }
        let indent = lead.chars().count();
        (lead, indent)
    };
    let (mut head, _) = line(heads);
    head += heads[N - 1];
    let mut text = setting.faint(head.trim_end()) + "\n";
    for row in rows {
        let cells = std::array::from_fn(|column| row[column].as_str());
        let (lead, indent) = line(cells);
        text += setting.wrap(&lead, indent, cells[N - 1]).trim_end();
        text.push('\n');
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_stand_side_by_side_and_the_last_is_wrapped() {
        let setting = Setting {
            width: 30,
            colour: false,
        };
        let row = |cells: [&str; 3]| cells.map(str::to_owned);
        let rows = [
            row(["1", "Harbour run", "two cured, one scorched"]),
            row(["12", "", ""]),
        ];
        let expected = "    job          prints\n\
                        1   Harbour run  two cured,\n                 one scorched\n\
                        12\n";
        assert_eq!(table(["", "job", "prints"], &rows, setting), expected);
    }
}
