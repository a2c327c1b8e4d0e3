//! A server that ends with its test, and requests byte by byte.

use serde_json::Value;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{Shutdown, TcpStream};
use std::path::Path;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

pub(crate) const COLLAR: &str = include_str!("../../scenes/collar.yaml");

/// A test that waits longer has found a server that hangs; nothing asked here takes a tenth of it on an idle machine.
pub(crate) const PATIENCE: Duration = Duration::from_secs(60);

/// `weftlight serve`, ended at the latest when the test lets go of it.
pub(crate) struct Server {
    child: Child,
    pub(crate) port: u16,
    told: Arc<Mutex<String>>,
}

impl Server {
    pub(crate) fn start() -> Server {
        Server::started(Command::new(env!("CARGO_BIN_EXE_weftlight")).args(["serve", "--port", "0"]))
    }

    /// With a scene opened.
    pub(crate) fn over(scene: &Path) -> Server {
        let mut command = Command::new(env!("CARGO_BIN_EXE_weftlight"));
        Server::started(command.arg("serve").arg(scene).args(["--port", "0"]))
    }

    /// By any command that starts one.
    pub(crate) fn started(command: &mut Command) -> Server {
        let command = command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().expect("the program starts");
        let mut line = String::new();
        let out = child.stdout.take().expect("its output");
        BufReader::new(out).read_line(&mut line).expect("a line");
        let port = line.split("127.0.0.1:").nth(1).and_then(|rest| rest.split('/').next()?.parse().ok());
        let port = port.unwrap_or_else(|| panic!("no address in `{line}`"));
        let told = Arc::new(Mutex::new(String::new()));
        let (mut err, kept) = (child.stderr.take().expect("its messages"), Arc::clone(&told));
        std::thread::spawn(move || {
            let mut piece = [0; 4096];
            while let Ok(n @ 1..) = err.read(&mut piece) {
                kept.lock().expect("a list").push_str(&String::from_utf8_lossy(&piece[..n]));
            }
        });
        Server { child, port, told }
    }

    pub(crate) fn id(&self) -> u32 {
        self.child.id()
    }

    /// What it said on standard error so far.
    pub(crate) fn told(&self) -> String {
        self.told.lock().expect("a list").clone()
    }

    pub(crate) fn is_alive(&mut self) -> bool {
        self.child.try_wait().expect("known").is_none()
    }

    /// Sends a signal by its name.
    #[cfg(unix)]
    pub(crate) fn signal(&self, name: &str) {
        let sent = Command::new("kill").args(["-s", name, &self.id().to_string()]).status();
        assert!(sent.expect("`kill` is there").success());
    }

    /// How it ended, and after how long; `None` when it has not within `most`.
    pub(crate) fn ended(&mut self, most: Duration) -> Option<(ExitStatus, Duration)> {
        let begun = Instant::now();
        while begun.elapsed() < most {
            if let Some(status) = self.child.try_wait().expect("known") {
                // The thread that reads its messages needs a moment for the last.
                std::thread::sleep(Duration::from_millis(100));
                return Some((status, begun.elapsed()));
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        None
    }

    /// A figure of `/proc/PID/status`, such as `VmRSS` (KiB) or `Threads`; `None` on systems without.
    pub(crate) fn figure(&self, name: &str) -> Option<u64> {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.id())).ok()?;
        let line = status.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(':'))?;
        line.split_whitespace().next()?.parse().ok()
    }

    /// The answer to a question.
    pub(crate) fn ask(&self, path: &str, question: &Value) -> Reply {
        let body = question.to_string();
        let reply = self.sent(&[self.head("POST", path, body.len()).as_bytes(), body.as_bytes()].concat());
        reply.unwrap_or_else(|| panic!("no answer to {path}"))
    }

    pub(crate) fn get(&self, path: &str) -> Reply {
        let reply = self.sent(self.head("GET", path, 0).as_bytes());
        reply.unwrap_or_else(|| panic!("no answer to {path}"))
    }

    /// The head of a good question.
    pub(crate) fn head(&self, method: &str, path: &str, length: usize) -> String {
        format!(
            "{method} {path} HTTP/1.1\r\nhost: 127.0.0.1:{}\r\nconnection: close\r\ncontent-type: application/json\r\n\
             content-length: {length}\r\n\r\n",
            self.port
        )
    }

    pub(crate) fn connected(&self) -> TcpStream {
        let stream = TcpStream::connect(("127.0.0.1", self.port)).expect("it listens");
        stream.set_read_timeout(Some(PATIENCE)).expect("set");
        stream.set_write_timeout(Some(PATIENCE)).expect("set");
        stream
    }

    /// The answer to any bytes; `None` where the connection is closed without one.
    pub(crate) fn sent(&self, bytes: &[u8]) -> Option<Reply> {
        let mut stream = self.connected();
        // It may close while we write; what it said before counts.
        let _ = stream.write_all(bytes);
        let _ = stream.flush();
        Reply::read(&mut stream)
    }

    /// The same with our end closed after the bytes.
    pub(crate) fn sent_and_closed(&self, bytes: &[u8]) -> Option<Reply> {
        let mut stream = self.connected();
        let _ = stream.write_all(bytes);
        let _ = stream.shutdown(Shutdown::Write);
        Reply::read(&mut stream)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// An answer.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Reply {
    pub(crate) status: u16,
    pub(crate) head: String,
    pub(crate) body: Vec<u8>,
}

impl Reply {
    /// Reads one answer with its body by the length that it tells.
    pub(crate) fn read(stream: &mut TcpStream) -> Option<Reply> {
        let mut bytes = Vec::new();
        let mut piece = vec![0; 1 << 16];
        loop {
            if let Some(reply) = Reply::whole(&bytes) {
                return Some(reply);
            }
            match stream.read(&mut piece) {
                Ok(0) => return None,
                Ok(n) => bytes.extend(&piece[..n]),
                Err(fault)
                    if matches!(
                        fault.kind(),
                        std::io::ErrorKind::WouldBlock | std::io::ErrorKind::TimedOut
                    ) =>
                {
                    panic!("no answer within {PATIENCE:?}")
                }
                Err(_) => return None,
            }
        }
    }

    fn whole(bytes: &[u8]) -> Option<Reply> {
        let end = bytes.windows(4).position(|four| four == b"\r\n\r\n")?;
        let head = String::from_utf8_lossy(&bytes[..end]).to_lowercase();
        let status = head.split(' ').nth(1)?.parse().ok()?;
        let length = head.lines().find_map(|line| line.strip_prefix("content-length:")?.trim().parse().ok());
        let body = &bytes[end + 4..];
        let length: usize = length.unwrap_or(0);
        (body.len() >= length).then(|| Reply { status, head, body: body[..length].to_vec() })
    }

    pub(crate) fn json(&self) -> Value {
        serde_json::from_slice(&self.body).unwrap_or(Value::Null)
    }
}
