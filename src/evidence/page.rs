//! The page: its parts in the order people ask for them.

use super::comparison::Comparison;
use super::markup::Markup;
use super::plot::{StepPicture, Zoom};
use super::{changed, headline, numbers, provenance, remarks, safety, timeline};

const STYLE: &str = concat!("<style>\n", include_str!("style.css"), "</style>\n");

/// The report as one HTML document that needs nothing else.
///
/// The same comparison gives the same bytes. Whatever is not in the records is shown as not
/// known; a comparison without a single sample still gives a page that says so.
#[must_use]
pub fn render(comparison: &Comparison<'_>) -> String {
    let judgement = comparison.judge();
    let mut page = Markup::default();
    page.literal("<!DOCTYPE html>\n");
    page.tag("html", &[("lang", &"en")], |html| {
        html.line();
        html.tag("head", &[], |head| write_head(head, comparison));
        html.line();
        html.tag("body", &[], |body| {
            body.tag("main", &[], |main| {
                headline::write(main, comparison, &judgement);
                write_picture(main, comparison);
                headline::write_numbers(main, comparison, &judgement);
                headline::write_criteria(main, comparison, &judgement);
                changed::write(main, comparison);
                safety::write_short(main);
                numbers::write(main, comparison, &judgement);
                write_close_up(main, comparison);
                remarks::write(main, comparison, &judgement);
                provenance::write_job(main, comparison);
                provenance::write_sources(main, comparison);
                timeline::write(main, comparison);
                changed::write_all(main, comparison);
                safety::write(main);
                safety::write_sign_off(main);
            });
        });
        html.line();
    });
    page.line();
    page.finish()
}

fn write_head(head: &mut Markup, comparison: &Comparison<'_>) {
    head.line();
    head.leaf("meta", &[("charset", &"utf-8")]);
    head.line();
    let viewport = "width=device-width, initial-scale=1";
    head.leaf("meta", &[("name", &"viewport"), ("content", &viewport)]);
    head.line();
    head.leaf("meta", &[("name", &"color-scheme"), ("content", &"light")]);
    head.line();
    head.words("title", &[], &headline::title(comparison));
    head.line();
    head.literal(STYLE);
}

fn write_picture(page: &mut Markup, comparison: &Comparison<'_>) {
    page.tag("figure", &[], |figure| {
        match StepPicture::new(comparison, Zoom::Whole) {
            Some(picture) => {
                picture.write(figure);
                headline::write_caption(figure, comparison, &picture);
            }
            None => figure.words(
                "p",
                &[("class", &"empty")],
                "There is no sample to draw in either step.",
            ),
        }
    });
    page.line();
}

/// A step from cold to working temperature hides what happens at its end: show that again, larger.
fn write_close_up(page: &mut Markup, comparison: &Comparison<'_>) {
    let whole = StepPicture::new(comparison, Zoom::Whole);
    if !whole.is_some_and(|whole| whole.needs_close_up()) {
        return;
    }
    if let Some(picture) = StepPicture::new(comparison, Zoom::Target) {
        page.tag("figure", &[], |figure| {
            picture.write(figure);
            figure.words(
                "figcaption",
                &[],
                "The same two steps, close to the target.",
            );
        });
        page.line();
    }
}
