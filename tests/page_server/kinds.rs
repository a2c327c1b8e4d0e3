//! The kinds of malformed requests, and those that are malformed as HTTP.

use super::questions;
use super::seeded::Seeded;
use super::server::{COLLAR, Server};
use serde_json::{Value, json};
use std::time::Duration;

/// How a request is sent.
pub(crate) enum Sent {
    Whole,
    /// Our end closed after it.
    ThenClosed,
    /// Gone after a while without waiting for an answer.
    ThenDropped(Duration),
}

/// What must come of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Expected {
    /// 4xx, or the connection is closed: it is not understood where an answer would begin.
    ClosedOrRefused,
    /// 4xx.
    Refused,
    /// 4xx, or 2xx where the question happens to be fine.
    Answered,
    /// 4xx, or a scene that is told to be unusable.
    Unusable,
}

pub(crate) struct Case {
    pub(crate) bytes: Vec<u8>,
    pub(crate) sent: Sent,
    pub(crate) expected: Expected,
}

type Make = fn(&mut Seeded, &Server) -> Case;

pub(crate) const KINDS: &[(&str, Make)] = &[
    ("broken request line", broken_line),
    ("header flood", header_flood),
    ("wrong host", wrong_host),
    ("wrong origin", wrong_origin),
    ("wrong content type", wrong_type),
    ("wrong length", wrong_length),
    ("chunked garbage", chunked),
    ("early close", early_close),
    ("slow half", slow_half),
    ("method", method),
    ("absolute form", absolute),
    ("traversal in the address", traversal),
    ("no JSON", questions::no_json),
    ("deep JSON", questions::deep_json),
    ("value of a wrong kind", questions::wrong_value),
    ("wild numbers", questions::wild_numbers),
    ("long text", questions::long_text),
    ("YAML bomb", questions::yaml_bomb),
    ("scene out of bounds", questions::wild_scene),
    ("weird edit", questions::weird_edit),
    ("unknown file", questions::unknown_what),
    ("path in a scene", questions::path_in_scene),
    ("path in a cloth's name", questions::path_in_name),
    ("label of a cloth", questions::weird_label),
    ("many problems", questions::many_problems),
];

pub(crate) const QUESTIONS: &[&str] = &[
    "/api/read",
    "/api/edit",
    "/api/starter",
    "/api/picture",
    "/api/numbers",
    "/api/gap-chart",
    "/api/cloth/estimate",
    "/api/cloth/photo",
    "/api/motion",
    "/api/download",
];

pub(crate) fn case(bytes: impl Into<Vec<u8>>, sent: Sent, expected: Expected) -> Case {
    Case { bytes: bytes.into(), sent, expected }
}

/// A question with a good head.
pub(crate) fn asked(server: &Server, path: &str, body: &[u8], expected: Expected) -> Case {
    case([server.head("POST", path, body.len()).as_bytes(), body].concat(), Sent::Whole, expected)
}

pub(crate) fn asked_json(server: &Server, path: &str, question: &Value, expected: Expected) -> Case {
    asked(server, path, question.to_string().as_bytes(), expected)
}

fn good_body() -> String {
    json!({"text": COLLAR}).to_string()
}

fn broken_line(seeded: &mut Seeded, server: &Server) -> Case {
    let port = server.port;
    let line: Vec<u8> = match seeded.below(9) {
        0 => b"GET\r\n\r\n".to_vec(),
        1 => b"GET / HTTP/9.9\r\n\r\n".to_vec(),
        2 => b"GET / / HTTP/1.1\r\n\r\n".to_vec(),
        3 => b"G\0ET / HTTP/1.1\r\n\r\n".to_vec(),
        4 => b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n".to_vec(),
        5 => [b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03".to_vec(), seeded.bytes(200)].concat(),
        6 => format!("GET /{} HTTP/1.1\r\nhost: 127.0.0.1:{port}\r\n\r\n", "a".repeat(70_000)).into_bytes(),
        7 => format!("GET / HTTP/1.1\r\nhost 127.0.0.1:{port}\r\n : x\r\n\r\n").into_bytes(),
        _ => [seeded.bytes(64), b"\r\n\r\n".to_vec()].concat(),
    };
    case(line, Sent::ThenClosed, Expected::ClosedOrRefused)
}

fn header_flood(seeded: &mut Seeded, server: &Server) -> Case {
    let mut head = format!("GET / HTTP/1.1\r\nhost: 127.0.0.1:{}\r\n", server.port);
    match seeded.below(3) {
        0 => (0..5000).for_each(|i| head.push_str(&format!("x-{i}: {i}\r\n"))),
        1 => head.push_str(&format!("x-long: {}\r\n", "a".repeat(1 << 20))),
        _ => head.push_str(&format!("{}: x\r\n", "n".repeat(1 << 17))),
    }
    head.push_str("\r\n");
    case(head, Sent::ThenClosed, Expected::ClosedOrRefused)
}

fn wrong_host(seeded: &mut Seeded, server: &Server) -> Case {
    let port = server.port;
    let host = match seeded.below(9) {
        0 => String::new(),
        1 => format!("host: elsewhere.example:{port}\r\n"),
        2 => "host: 127.0.0.1\r\n".to_owned(),
        3 => format!("host: 127.0.0.1:{}\r\n", port.wrapping_add(1)),
        4 => format!("host: 0.0.0.0:{port}\r\n"),
        5 => format!("host: 127.0.0.1:{port}\r\nhost: elsewhere.example\r\n"),
        6 => format!("host: localhost.elsewhere.example:{port}\r\n"),
        7 => format!("host: user@127.0.0.1:{port}\r\n"),
        _ => "host: \r\n".to_owned(),
    };
    let path = seeded.of(&["/", "/api/start", "/api/shelf", "/main.js"]);
    let version = seeded.of(&["1.0", "1.1"]);
    case(format!("GET {path} HTTP/{version}\r\n{host}\r\n"), Sent::Whole, Expected::ClosedOrRefused)
}

fn with_header(server: &Server, path: &str, header: &str, content_type: &str) -> Case {
    let body = good_body();
    let head = format!(
        "POST {path} HTTP/1.1\r\nhost: 127.0.0.1:{}\r\n{header}{content_type}content-length: {}\r\n\r\n{body}",
        server.port,
        body.len()
    );
    // Refused before the body is read: what we still write may cut the answer off.
    case(head, Sent::Whole, Expected::ClosedOrRefused)
}

fn wrong_origin(seeded: &mut Seeded, server: &Server) -> Case {
    let port = server.port;
    let origin = match seeded.below(6) {
        0 => "null".to_owned(),
        1 => format!("https://127.0.0.1:{port}"),
        2 => "http://elsewhere.example".to_owned(),
        3 => format!("http://127.0.0.1:{}", port.wrapping_sub(1)),
        4 => format!("http://127.0.0.1:{port}.elsewhere.example"),
        _ => format!("http://127.0.0.1:{port}\r\norigin: http://elsewhere.example"),
    };
    with_header(
        server,
        seeded.of(QUESTIONS),
        &format!("origin: {origin}\r\n"),
        "content-type: application/json\r\n",
    )
}

fn wrong_type(seeded: &mut Seeded, server: &Server) -> Case {
    let kinds = [
        "",
        "content-type: text/plain\r\n",
        "content-type: application/x-www-form-urlencoded\r\n",
        "content-type: multipart/form-data; boundary=x\r\n",
        "content-type: application/jsonp\r\n",
        "content-type: application/json\r\ncontent-type: text/plain\r\n",
    ];
    with_header(server, seeded.of(QUESTIONS), "", seeded.of(&kinds))
}

fn wrong_length(seeded: &mut Seeded, server: &Server) -> Case {
    let body = good_body();
    let length = match seeded.below(8) {
        0 => format!("content-length: {}\r\n", body.len() + 100),
        1 => format!("content-length: {}\r\n", body.len() / 2),
        2 => "content-length: -1\r\n".to_owned(),
        3 => "content-length: many\r\n".to_owned(),
        4 => "content-length: 99999999999999999999999999\r\n".to_owned(),
        5 => format!("content-length: 1\r\ncontent-length: {}\r\n", body.len()),
        6 => "content-length: 18446744073709551615\r\n".to_owned(),
        _ => "content-length: 0\r\n".to_owned(),
    };
    let head = server.head("POST", seeded.of(QUESTIONS), 0).replace("content-length: 0\r\n", &length);
    case(head + &body, Sent::ThenClosed, Expected::ClosedOrRefused)
}

fn chunked(seeded: &mut Seeded, server: &Server) -> Case {
    let head = server.head("POST", seeded.of(QUESTIONS), 0);
    let chunks = match seeded.below(6) {
        0 => "zz\r\n{}\r\n0\r\n\r\n".to_owned(),
        1 => "ffffffffffffffffff\r\n{}\r\n0\r\n\r\n".to_owned(),
        2 => "5\r\n{}\r\n0\r\n\r\n".to_owned(),
        3 => format!("2;{}\r\n{{}}\r\n0\r\n\r\n", "x".repeat(100_000)),
        4 => "-1\r\n{}\r\n0\r\n\r\n".to_owned(),
        _ => format!("2\r\n{{}}\r\n0\r\n{}\r\n", "t: x\r\n".repeat(3000)),
    };
    let coding = if seeded.below(4) == 0 {
        "content-length: 7\r\ntransfer-encoding: chunked\r\n"
    } else {
        "transfer-encoding: chunked\r\n"
    };
    let head = head.replace("content-length: 0\r\n", coding);
    case(head + &chunks, Sent::ThenClosed, Expected::ClosedOrRefused)
}

fn early_close(seeded: &mut Seeded, server: &Server) -> Case {
    let whole = asked(server, seeded.of(QUESTIONS), good_body().as_bytes(), Expected::ClosedOrRefused).bytes;
    let kept = seeded.below(whole.len());
    case(&whole[..kept], Sent::ThenDropped(Duration::ZERO), Expected::ClosedOrRefused)
}

fn slow_half(seeded: &mut Seeded, server: &Server) -> Case {
    let whole = asked(server, seeded.of(QUESTIONS), good_body().as_bytes(), Expected::ClosedOrRefused).bytes;
    let kept = 1 + seeded.below(whole.len() - 1);
    let wait = Duration::from_millis(seeded.below(15) as u64);
    case(&whole[..kept], Sent::ThenDropped(wait), Expected::ClosedOrRefused)
}

fn method(seeded: &mut Seeded, server: &Server) -> Case {
    let method = seeded.of(&["TRACE", "PUT", "DELETE", "OPTIONS", "PATCH", "get", "FOO", "GET", "M-SEARCH"]);
    let path = seeded.of(QUESTIONS);
    let head = format!("{method} {path} HTTP/1.1\r\nhost: 127.0.0.1:{}\r\n\r\n", server.port);
    case(head, Sent::Whole, Expected::Refused)
}

fn absolute(seeded: &mut Seeded, server: &Server) -> Case {
    let port = server.port;
    let line = match seeded.below(6) {
        0 => "GET http://elsewhere.example/ HTTP/1.1".to_owned(),
        1 => format!("GET http://elsewhere.example:{port}/api/start HTTP/1.1"),
        2 => format!("CONNECT 127.0.0.1:{port} HTTP/1.1"),
        3 => "CONNECT elsewhere.example:443 HTTP/1.1".to_owned(),
        4 => "OPTIONS * HTTP/1.1".to_owned(),
        _ => "GET file:///etc/passwd HTTP/1.1".to_owned(),
    };
    case(format!("{line}\r\nhost: 127.0.0.1:{port}\r\n\r\n"), Sent::Whole, Expected::ClosedOrRefused)
}

fn traversal(seeded: &mut Seeded, server: &Server) -> Case {
    let all = [
        "/../Cargo.toml",
        "/..%2fCargo.toml",
        "/%2e%2e/%2e%2e/etc/passwd",
        "//etc/passwd",
        "/assets/../index.html",
        "/api/../main.js",
        "/api/shelf/..%2f..%2f..%2fetc%2fpasswd",
        "/api/shelf/..%2ffelt-wool-ivory.png",
        "/api/shelf/%2e%2e%2fetc%2fpasswd.png",
        "/api/shelf/%00.png",
        "/api/shelf/%ff%fe.png",
        "/%ff",
        "/index.html%00.js",
        "/index.html/",
        "/INDEX.HTML",
        "/api/shelf/.png",
        "/api/shelf/",
    ];
    let path = seeded.of(&all);
    case(server.head("GET", path, 0), Sent::Whole, Expected::Refused)
}
