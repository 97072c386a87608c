//! The shop file's text, for the journal.

use super::Keeper;
use crate::record::{Record, ShopDeclared};
use crate::time::Micros;

impl Keeper {
    /// Writes down what the shop file says, unless it is what was written down last; gives the SHA-256 of what is
    /// written down now. A shop that was read from no text is not written down.
    pub fn declare_shop(&mut self, now: Micros, last: Option<String>) -> Option<String> {
        if self.shop.text.is_empty() {
            return last;
        }
        let declared = ShopDeclared::of(&self.shop.text);
        let sha256 = declared.sha256.clone();
        if last.as_ref() != Some(&sha256) {
            self.entry
                .records
                .push((now, Record::ShopDeclared(declared)));
        }
        Some(sha256)
    }
}
