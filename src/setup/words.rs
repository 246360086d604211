//! The words of the setup file for the choices it offers.

use super::model::Parity;
use crate::spanned::words;

words!(Parity, "parity", {
    Even = "even",
    Odd = "odd",
    None = "none",
});
