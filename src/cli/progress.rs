//! A progress bar on standard error, at a terminal only.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::{self, IsTerminal};

/// Progress through a known number of steps. Nothing is drawn unless standard error is a terminal; it goes away when the work ends.
#[derive(Debug)]
pub(super) struct Progress(ProgressBar);

impl Progress {
    /// A bar of so many steps. `doing` says what is done, e.g. `Looking through cloths`.
    pub(super) fn new(steps: usize, doing: &str) -> Progress {
        let target = if io::stderr().is_terminal() {
            ProgressDrawTarget::stderr()
        } else {
            ProgressDrawTarget::hidden()
        };
        let bar = ProgressBar::with_draw_target(Some(steps as u64), target);
        // The template is fixed, so it is in order; a plain bar stands in otherwise.
        if let Ok(style) = ProgressStyle::with_template("{msg} {wide_bar} {pos} of {len}") {
            bar.set_style(style);
        }
        bar.set_message(doing.to_owned());
        Progress(bar)
    }

    /// One more step is done.
    pub(super) fn step(&self) {
        self.0.inc(1);
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.0.finish_and_clear();
    }
}
