//! Cells and sections that several parts of the page use.

use super::format;
use super::markup::Markup;

/// A section with a heading.
pub(super) fn section(
    page: &mut Markup,
    class: &str,
    heading: &str,
    inside: impl FnOnce(&mut Markup),
) {
    page.tag("section", &[("class", &class)], |section| {
        section.words("h2", &[], heading);
        section.line();
        inside(section);
    });
    page.line();
}

/// A table in a frame that scrolls sideways where the screen is too narrow.
pub(super) fn table(
    page: &mut Markup,
    class: &str,
    heads: &[&str],
    rows: impl FnOnce(&mut Markup),
) {
    page.tag("div", &[("class", &"scroll")], |frame| {
        frame.tag("table", &[("class", &class)], |table| {
            table.tag("thead", &[], |head| {
                head.tag("tr", &[], |row| {
                    for (place, text) in heads.iter().enumerate() {
                        let class = if place == 0 { "" } else { "col" };
                        row.words("th", &[("scope", &"col"), ("class", &class)], text);
                    }
                });
            });
            table.line();
            table.tag("tbody", &[], rows);
        });
    });
    page.line();
}

/// One row: what it is about, then what `cells` writes.
pub(super) fn row(table: &mut Markup, head: &str, small: &str, cells: impl FnOnce(&mut Markup)) {
    table.tag("tr", &[], |row| {
        row.tag("th", &[("scope", &"row")], |th| {
            th.text(head);
            if !small.is_empty() {
                th.words("small", &[], small);
            }
        });
        cells(row);
    });
    table.line();
}

/// A cell with text.
pub(super) fn cell(row: &mut Markup, text: &str) {
    row.words("td", &[], text);
}

/// A number whose decimal point stands under the one above, and something smaller below it.
pub(super) fn number_cell(row: &mut Markup, number: &str, small: &str) {
    row.tag("td", &[("class", &"n")], |td| {
        number_words(td, number);
        if !small.is_empty() {
            td.words("small", &[], small);
        }
    });
}

/// The number split at its point: the whole part ends where the fraction begins.
pub(super) fn number_words(out: &mut Markup, number: &str) {
    let (whole, fraction) = match number.split_once('.') {
        Some((whole, fraction)) => (whole, format!(".{fraction}")),
        None => (number, String::new()),
    };
    out.tag("span", &[("class", &"num")], |num| {
        num.text(whole);
        num.words("span", &[("class", &"frac")], &fraction);
    });
}

/// A list of names and what they are, for facts that are not numbers.
pub(super) fn facts(page: &mut Markup, lines: &[(&str, String)]) {
    page.tag("dl", &[], |list| {
        for (name, value) in lines {
            list.tag("div", &[], |line| {
                line.words("dt", &[], name);
                let blank = value.trim().is_empty();
                line.words("dd", &[], if blank { format::NOTHING } else { value });
            });
        }
    });
    page.line();
}
