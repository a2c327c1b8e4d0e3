//! The programs of these tests: the page itself and the driver of the browser. Both end with the value that holds them.

use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// With this set to `must`, a missing browser fails the tests.
const BROWSER_TESTS: &str = "WEFTLIGHT_BROWSER_TESTS";
/// The longest wait for anything: far beyond what a busy machine takes, so that only what never comes fails.
pub(crate) const LONGEST_WAIT: Duration = Duration::from_secs(60);

/// Whether there is a browser. Where not, that is said past the catching of a test's own output.
pub(crate) fn browser_is_here() -> bool {
    let there = |program: &str| {
        Command::new(program).arg("--version").output().is_ok_and(|output| output.status.success())
    };
    let here = there("chromium") && there("chromedriver");
    if !here {
        let wanted = std::env::var(BROWSER_TESTS).is_ok_and(|value| value == "must");
        assert!(!wanted, "no chromium/chromedriver here, and {BROWSER_TESTS}=must");
        writeln!(std::io::stderr(), "SKIPPED: no chromium/chromedriver here").expect("standard error");
    }
    here
}

/// A program that is killed when its value goes.
#[derive(Debug)]
struct Running(Child);

impl Running {
    /// Starts a program and reads lines until one holds the mark; the answer is what follows it.
    fn start(mut command: Command, mark: &str) -> (Running, String) {
        let shown = format!("{command:?}");
        let mut running =
            Running(command.stdin(Stdio::null()).stdout(Stdio::piped()).spawn().expect("the program starts"));
        let mut lines = BufReader::new(running.0.stdout.take().expect("its output")).lines();
        let told = lines
            .by_ref()
            .map_while(Result::ok)
            .find_map(|line| line.split_once(mark).map(|(_, rest)| rest.to_owned()))
            .unwrap_or_else(|| panic!("{shown} ended without telling `{mark}`"));
        // Nobody reads on, but the pipe must not run full or break.
        std::thread::spawn(move || lines.map_while(Result::ok).for_each(drop));
        (running, told)
    }

    /// Asks it to end and waits until it has; whether it ended well.
    fn end(&mut self) -> bool {
        let told = Command::new("kill").args(["-TERM", &self.0.id().to_string()]).status();
        assert!(told.expect("`kill` runs").success(), "the program was there");
        let until = Instant::now() + LONGEST_WAIT;
        loop {
            if let Some(status) = self.0.try_wait().expect("a child") {
                return status.success();
            }
            assert!(Instant::now() < until, "the program did not end");
            std::thread::sleep(Duration::from_millis(10));
        }
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// `weftlight serve`.
#[derive(Debug)]
pub(crate) struct Program {
    running: Running,
    /// Its address, with a slash at the end.
    pub(crate) address: String,
}

impl Program {
    /// Serves the page at a port, or at any that is free for 0.
    pub(crate) fn serve(port: u16) -> Program {
        let mut command = Command::new(env!("CARGO_BIN_EXE_weftlight"));
        command.args(["serve", "--port", &port.to_string()]);
        let (running, told) = Running::start(command, "The page is at ");
        let address = told.split_whitespace().next().expect("an address").to_owned();
        Program { running, address }
    }

    /// The port in its address.
    pub(crate) fn port(&self) -> u16 {
        url::Url::parse(&self.address).expect("an address").port().expect("a port")
    }

    /// Ends it as a service manager would.
    pub(crate) fn end(mut self) {
        assert!(self.running.end(), "it ends without a fault");
    }
}

/// The driver of the browser.
#[derive(Debug)]
pub(crate) struct Driver {
    _running: Running,
    /// Its address.
    pub(crate) address: String,
}

impl Driver {
    /// Starts a driver at a free port.
    pub(crate) fn start() -> Driver {
        let mut command = Command::new("chromedriver");
        command.arg("--port=0").stderr(Stdio::null());
        let (running, told) = Running::start(command, "started successfully on port ");
        let address = format!("http://127.0.0.1:{}/", told.trim_end_matches('.'));
        Driver { _running: running, address }
    }
}

/// Runs `weftlight` in a folder; its exit code and all that it says.
pub(crate) fn weftlight(folder: &Path, arguments: &[&str]) -> (i32, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_weftlight"));
    let output = command.current_dir(folder).args(arguments).output().expect("the program runs");
    let said = [output.stdout, output.stderr].map(|text| String::from_utf8_lossy(&text).into_owned());
    (output.status.code().expect("a code"), said.concat())
}
