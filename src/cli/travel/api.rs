//! Asking the API of a running mock [BA-10]: one request a connection, whole answers of bounded length.

use crate::bench::api_place;
use crate::capture::io_words;
use core::fmt;
use core::time::Duration;
use serde_json::Value as Json;
use std::io::{self, Read, Write};
use std::net::{SocketAddr, TcpStream};

/// What a token is told by, as `looprig mock` reads it.
const TOKEN_VARIABLE: &str = "LOOPRIG_API_TOKEN";
/// Longest answer that is read, octets.
const LONGEST: u64 = 4 << 20;
/// How long it may take.
const PATIENCE: Duration = Duration::from_secs(5);

/// Where an API is.
#[derive(Clone, Debug)]
pub struct Api {
    at: SocketAddr,
    token: Option<String>,
}

impl fmt::Display for Api {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "http://{}", self.at)
    }
}

impl Api {
    /// Reads `http://127.0.0.1:4620`, as `looprig mock --api` prints it, or the address alone. The token is that of the environment.
    ///
    /// # Errors
    /// What is wrong and what would be right.
    pub fn parse(url: &str) -> Result<Api, String> {
        let at = url.strip_prefix("http://").unwrap_or(url).trim_end_matches('/');
        let at = api_place(at).ok_or_else(|| {
            format!("\"{url}\" is no place of an API: give what `looprig mock --api` prints, such as http://127.0.0.1:4620")
        })?;
        let token = std::env::var(TOKEN_VARIABLE).ok().map(|t| t.trim().to_owned()).filter(|t| !t.is_empty());
        if token.as_ref().is_some_and(|t| !t.bytes().all(|b| b.is_ascii_graphic())) {
            return Err(format!("{TOKEN_VARIABLE} holds characters that no token has"));
        }
        Ok(Api { at, token })
    }

    /// Asks, and gives the JSON of the answer.
    ///
    /// # Errors
    /// Nobody answers, or what is wrong by the answer; and what to do next.
    pub fn ask(&mut self, method: &str, path: &str, body: Option<&Json>) -> Result<Json, (String, String)> {
        let body = body.map_or(String::new(), Json::to_string);
        let mut request = format!(
            "{method} {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\nAccept: application/json\r\n",
            self.at
        );
        if let Some(token) = &self.token {
            request += &format!("Authorization: Bearer {token}\r\n");
        }
        if !body.is_empty() {
            request += &format!("Content-Type: application/json\r\nContent-Length: {}\r\n", body.len());
        }
        request += "\r\n";
        request += &body;
        let asked = self.exchange(&request);
        let answer = asked.map_err(|e| {
            let next = format!("see whether `looprig mock --api={}` still runs", self.at);
            (format!("{self} does not answer: {}", io_words(&e)), next)
        })?;
        told(&answer).unwrap_or_else(|| {
            let next = "give the place that `looprig mock --api` prints".to_owned();
            Err((format!("what answers at {self} is no bench of looprig"), next))
        })
    }

    fn exchange(&self, request: &str) -> io::Result<String> {
        let mut stream = TcpStream::connect_timeout(&self.at, PATIENCE)?;
        stream.set_read_timeout(Some(PATIENCE))?;
        stream.set_write_timeout(Some(PATIENCE))?;
        stream.set_nodelay(true)?;
        stream.write_all(request.as_bytes())?;
        let mut answer = Vec::new();
        stream.take(LONGEST).read_to_end(&mut answer)?;
        Ok(String::from_utf8_lossy(&answer).into_owned())
    }
}

/// What an answer tells; `None`: it is none that a bench gives. The server tells the length of whole answers and never sends them
/// in pieces, so what stands behind the head is the body.
fn told(answer: &str) -> Option<Result<Json, (String, String)>> {
    let (head, body) = answer.split_once("\r\n\r\n")?;
    let status: u16 = head.strip_prefix("HTTP/1.")?.split(' ').nth(1)?.parse().ok()?;
    let json: Json = serde_json::from_str(body).ok()?;
    if status < 300 {
        return Some(Ok(json));
    }
    let text = |key: &str| json[key].as_str().map(str::to_owned);
    Some(Err((text("wrong")?, text("next").unwrap_or_default())))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places() {
        for (text, right) in [
            ("http://127.0.0.1:4620/", true),
            ("localhost:4620", true),
            ("[::1]:1", true),
            ("4620", false),
            ("", false),
        ] {
            assert_eq!(Api::parse(text).is_ok(), right, "{text}");
        }
    }

    #[test]
    fn answers() {
        let ok = told("HTTP/1.1 200 OK\r\ncontent-length: 9\r\n\r\n{\"at_s\":1}");
        assert_eq!(ok.and_then(Result::ok), Some(serde_json::json!({"at_s": 1})));
        let refused = told("HTTP/1.1 409 Conflict\r\n\r\n{\"wrong\":\"no\",\"next\":\"do\"}");
        assert_eq!(refused.and_then(Result::err), Some(("no".to_owned(), "do".to_owned())));
        for none in ["", "HTTP/1.1 200 OK\r\n\r\n<html>", "SSH-2.0", "HTTP/1.1 500 No\r\n\r\n{}"] {
            assert!(told(none).is_none(), "{none}");
        }
    }
}
