//! The evidence report: what a change at the controller did to a step, on one page of HTML.
//!
//! Pure from end to end: the same comparison gives the same bytes. No clock, host, user or path
//! gets in; no file, typeface or script is fetched by the page.

mod changed;
mod comparison;
mod criteria;
mod criteria_file;
mod format;
mod headline;
mod markup;
mod numbers;
mod obstacle;
mod page;
mod pair;
mod plot;
mod provenance;
mod remarks;
mod safety;
mod sentence;
mod table;
mod timeline;
mod verdict;

pub use comparison::{Comparison, Side};
pub use criteria::{Criteria, Limit, Measure, Outcome};
pub use page::render;
pub use pair::{Pair, PairError, Wanted, pair};
pub use verdict::{Change, Direction, Judgement, Verdict};
