//! How the server begins and ends: on this machine alone, and in time whatever is under way.
#![cfg(unix)]

use super::server::{COLLAR, PATIENCE, Reply, Server};
use serde_json::json;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::process::Command;
use std::time::{Duration, Instant};

/// With nothing under way the end is at once; this much a busy machine may take.
const AT_ONCE: Duration = Duration::from_secs(3);
/// The server's own grace, less what the signal itself may take.
const GRACE: Duration = Duration::from_millis(4500);
/// With a long question under way: the server's own grace (5 s) with as much again for a busy machine.
const IN_TIME: Duration = Duration::from_secs(10);

/// A client's sheet over so many pixels that it takes longer than the grace; it is never waited for.
fn long_question() -> String {
    let text = COLLAR.replace(
        "  - strip: {package: \"5050\", pitch_mm: 16.67, count: 24}",
        "  - grid: {package: \"5050\", pitch_mm: 6, columns: 300, rows: 300}",
    );
    assert_ne!(text, COLLAR);
    json!({"text": text, "what": "client-page"}).to_string()
}

fn begun(server: &Server, path: &str, question: &str) -> TcpStream {
    let mut stream = server.connected();
    let head = server.head("POST", path, question.len());
    stream.write_all(&[head.as_bytes(), question.as_bytes()].concat()).expect("written");
    // It is under way once the body has been read.
    std::thread::sleep(Duration::from_millis(300));
    stream
}

fn ends_well(mut server: Server, within: Duration) -> Duration {
    let (status, took) =
        server.ended(within).unwrap_or_else(|| panic!("still there after {within:?}: {}", server.told()));
    assert_eq!(status.code(), Some(0), "{}", server.told());
    assert!(server.told().ends_with("The page is closed.\n"), "{}", server.told());
    took
}

#[test]
fn it_ends_at_once_when_nothing_is_under_way_however_many_connections_are_open() {
    for signal in ["INT", "TERM"] {
        let server = Server::start();
        let silent = server.connected();
        // A browser keeps its connection after an answer.
        let mut kept = server.connected();
        let head = server.head("GET", "/", 0).replace("connection: close\r\n", "");
        kept.write_all(head.as_bytes()).expect("written");
        assert_eq!(Reply::read(&mut kept).expect("an answer").status, 200);
        server.signal(signal);
        ends_well(server, AT_ONCE);
        let mut rest = Vec::new();
        assert_eq!(kept.read_to_end(&mut rest).unwrap_or(0), 0, "closed, and nothing more said");
        drop(silent);
    }
}

#[test]
fn a_question_under_way_is_answered_before_the_end() {
    for signal in ["INT", "TERM"] {
        let server = Server::start();
        let question = json!({"text": COLLAR, "page": "tab", "seq": 1}).to_string();
        let mut stream = begun(&server, "/api/numbers", &question);
        server.signal(signal);
        let asked = Instant::now();
        match Reply::read(&mut stream) {
            Some(reply) => {
                assert_eq!(reply.status, 200);
                assert!(reply.json()["numbers"].is_array());
            }
            // A busy machine may need longer than the grace, and nothing less ends it.
            None => assert!(asked.elapsed() >= GRACE, "{:?}", asked.elapsed()),
        }
        ends_well(server, IN_TIME);
    }
}

#[test]
fn a_long_question_does_not_hold_up_the_end_and_a_second_wish_ends_at_once() {
    for again in [false, true] {
        let server = Server::start();
        let mut stream = begun(&server, "/api/download", &long_question());
        server.signal("INT");
        std::thread::sleep(Duration::from_secs(1));
        let told = server.told();
        assert!(told.contains("Ctrl-C again ends at once"), "it is said why it does not end: `{told}`");
        if again {
            server.signal("INT");
        }
        ends_well(server, if again { AT_ONCE } else { IN_TIME });
        // Answered whole, or closed.
        let reply = Reply::read(&mut stream);
        assert!(reply.is_none_or(|reply| reply.status == 200 && !again));
    }
}

#[test]
fn a_half_question_does_not_hold_up_the_end() {
    let server = Server::start();
    let mut half = server.connected();
    half.write_all(server.head("POST", "/api/read", 1000).as_bytes()).expect("written");
    server.signal("INT");
    ends_well(server, IN_TIME);
}

#[test]
fn it_listens_on_this_machine_alone() {
    let server = Server::start();
    let Ok(table) = std::fs::read_to_string("/proc/net/tcp") else {
        println!("SKIPPED: this system has no /proc/net/tcp");
        return;
    };
    let wide = std::fs::read_to_string("/proc/net/tcp6").unwrap_or_default();
    // Local address and port in hexadecimal, and the state: 0A listens.
    let port = format!(":{:04X}", server.port);
    let listening: Vec<&str> = table
        .lines()
        .chain(wide.lines())
        .filter_map(|line| {
            let columns: Vec<&str> = line.split_whitespace().collect();
            (columns.get(3) == Some(&"0A") && columns[1].ends_with(&port)).then(|| columns[1])
        })
        .collect();
    let loopback = format!("{:08X}{port}", u32::from_ne_bytes([127, 0, 0, 1]));
    assert_eq!(listening, [loopback]);
}

#[test]
fn a_port_in_use_is_told_and_another_one_advised() {
    let server = Server::start();
    let call = Command::new(env!("CARGO_BIN_EXE_weftlight"))
        .args(["serve", "--port", &server.port.to_string()])
        .output();
    let call = call.expect("it ran");
    let told = String::from_utf8_lossy(&call.stderr);
    assert_eq!(call.status.code(), Some(2), "{told}");
    assert!(told.contains("another program uses this port") && told.contains("leave --port out"), "{told}");
    assert!(call.stdout.is_empty(), "no address is told");
    assert!(PATIENCE > AT_ONCE && server.get("/").status == 200, "and the first one goes on");
}
