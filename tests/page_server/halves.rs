//! Connections that say nothing, break off, or ask and leave: others are served all the same.

use super::server::{COLLAR, Server};
use serde_json::json;
use std::io::Write;
use std::net::TcpStream;
use std::time::{Duration, Instant};

/// Silent connections: more than any browser opens, fewer than the server lets in.
const SILENT: usize = 200;
/// An ordinary answer while others are silent; it takes some tens of milliseconds on an idle machine.
const SOON: Duration = Duration::from_secs(10);
/// One long question may be under way still, and must be waited for; it takes about a second on an idle machine.
const AFTER_ONE: Duration = Duration::from_secs(40);
/// Threads that questions which are begun and left may add: one for each place in the queues, and none for each question.
const MORE_THREADS: u64 = 12;
/// Questions that are begun and left.
const LEFT: usize = 40;

fn picture(server: &Server, tab: &str) -> Duration {
    let begun = Instant::now();
    let question = json!({"text": COLLAR, "width_px": 64, "height_px": 32, "page": tab, "seq": 1});
    assert_eq!(server.ask("/api/picture", &question).status, 200);
    begun.elapsed()
}

#[test]
fn silent_connections_keep_nobody_out() {
    let server = Server::start();
    let half = server.head("POST", "/api/read", 1000);
    let mut open: Vec<TcpStream> = (0..SILENT).map(|_| server.connected()).collect();
    for (i, stream) in open.iter_mut().enumerate() {
        // Some say nothing, some half a head, some a head without its body.
        let said = [0, half.len() / 2, half.len()][i % 3];
        stream.write_all(&half.as_bytes()[..said]).expect("written");
    }
    let took = picture(&server, "tab");
    assert!(took < SOON, "{took:?}");
    drop(open);
    assert_eq!(server.told(), "");
}

#[test]
fn questions_that_nobody_waits_for_do_not_pile_up() {
    let server = Server::start();
    picture(&server, "first");
    let threads = server.figure("Threads");
    for i in 0..LEFT {
        // A long question, and the connection closed while it is worked on.
        let question = json!({"text": COLLAR, "page": format!("left {i}"), "seq": 1}).to_string();
        let path = ["/api/gap-chart", "/api/numbers"][i % 2];
        let mut stream = server.connected();
        let head = server.head("POST", path, question.len());
        stream.write_all(&[head.as_bytes(), question.as_bytes()].concat()).expect("written");
        std::thread::sleep(Duration::from_millis(20));
    }
    match (threads, server.figure("Threads")) {
        (Some(before), Some(after)) => {
            assert!(after <= before + MORE_THREADS, "{before} threads, then {after}")
        }
        _ => println!("SKIPPED: this system tells no threads of a process in /proc"),
    }
    let took = picture(&server, "second");
    assert!(took < SOON, "another kind of question waited {took:?}");
    let begun = Instant::now();
    let reply = server.ask("/api/numbers", &json!({"text": COLLAR, "page": "third", "seq": 1}));
    assert_eq!(reply.status, 200);
    assert!(begun.elapsed() < AFTER_ONE, "the same kind waited {:?}", begun.elapsed());
    assert_eq!(server.told(), "");
}

/// Heads that never end are not waited for. The bound is the server's own (30 s) with some seconds for a busy machine.
#[test]
fn a_half_head_is_closed_in_time() {
    const CLOSED_WITHIN: Duration = Duration::from_secs(40);
    let server = Server::start();
    let mut stream = server.connected();
    stream.write_all(b"GET / HTTP/1.1\r\nhost: ").expect("written");
    let begun = Instant::now();
    // A 408 or nothing: either way it is over.
    if let Some(reply) = super::server::Reply::read(&mut stream) {
        assert_eq!(reply.status, 408);
    }
    assert!(begun.elapsed() < CLOSED_WITHIN, "{:?}", begun.elapsed());
}
