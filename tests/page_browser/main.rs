//! The page of `weftlight serve` in a real browser: what a user sees and does there.
//!
//! The tests start `chromedriver` and the program themselves. Where `chromium` or `chromedriver` is missing they say SKIPPED on
//! standard error and check nothing, unless `WEFTLIGHT_BROWSER_TESTS=must`: then they fail. The names by which they find things are at the
//! top of `src/page/assets/main.js`.
#![allow(clippy::disallowed_methods, reason = "tests read files and the clock")]

mod asked;
mod closed;
mod cloth;
mod colours;
mod held;
mod keyboard;
mod motion;
mod phone;
mod programs;
mod saving;
mod seen;
mod standoff;
mod start;
mod stopped;
mod tab;
