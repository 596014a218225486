//! Who may ask [BA-08].

use super::problem::Problem;
use axum::http::{HeaderMap, StatusCode, header};
use core::fmt;
use std::net::{IpAddr, SocketAddr};

/// Shortest token, characters.
const SHORTEST_TOKEN: usize = 16;
/// Longest token, characters.
const LONGEST_TOKEN: usize = 256;

/// A word that each request has to carry.
#[derive(Clone)]
pub struct Token(String);

impl fmt::Debug for Token {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Token(..)")
    }
}

impl Token {
    /// The token in a text; white space around it does not count.
    ///
    /// # Errors
    /// It is shorter than 16 or longer than 256 characters, or has other characters than visible ASCII.
    pub fn new(text: &str) -> Result<Token, String> {
        let token = text.trim();
        if token.len() < SHORTEST_TOKEN || token.len() > LONGEST_TOKEN {
            return Err(format!(
                "it has {} characters; {SHORTEST_TOKEN} to {LONGEST_TOKEN} are right",
                token.len()
            ));
        }
        if !token.bytes().all(|b| b.is_ascii_graphic()) {
            return Err("it has characters besides letters, digits and signs of ASCII".to_owned());
        }
        Ok(Token(token.to_owned()))
    }

    /// Whether that is it; how long this takes does not depend on how much of it is right.
    fn is(&self, given: &[u8]) -> bool {
        let mut differs = usize::from(self.0.len() != given.len());
        for (i, own) in self.0.bytes().enumerate() {
            differs |= usize::from(own ^ given.get(i).copied().unwrap_or(0));
        }
        core::hint::black_box(differs) == 0
    }
}

/// Why an API may not listen at `at`; `None` if it may.
pub fn why_not_listen(at: SocketAddr, has_token: bool) -> Option<(String, String)> {
    (!at.ip().is_loopback() && !has_token).then(|| {
        (
            format!("{at} can be reached from other machines, and there is no token"),
            "name a loopback address such as 127.0.0.1:4620, or give a token with --api-token-file FILE"
                .to_owned(),
        )
    })
}

/// Whether a Host names this machine: a page elsewhere that has a browser ask under a name of its own does not.
fn is_here(host: &str) -> bool {
    let name = match host.rsplit_once(':') {
        Some((name, port)) if port.bytes().all(|b| b.is_ascii_digit()) => name,
        _ => host,
    };
    let ip = name.strip_prefix('[').and_then(|n| n.strip_suffix(']')).unwrap_or(name);
    name.eq_ignore_ascii_case("localhost") || ip.parse::<IpAddr>().is_ok_and(|ip| ip.is_loopback())
}

/// Why a request may not be asked.
pub fn check(headers: &HeaderMap, token: Option<&Token>) -> Result<(), Problem> {
    let doing = "letting the request in";
    let one = |name: header::HeaderName| {
        let mut all = headers.get_all(name).iter();
        (all.next(), all.next().is_some())
    };
    let (host, more) = one(header::HOST);
    let host = host.and_then(|h| h.to_str().ok()).filter(|_| !more);
    if let Some(token) = token {
        let (given, more) = one(header::AUTHORIZATION);
        let given = given.filter(|_| !more).map(|h| h.as_bytes()).and_then(|h| {
            let (scheme, word) = h.split_at_checked(7)?;
            scheme.eq_ignore_ascii_case(b"bearer ").then_some(word)
        });
        if !given.is_some_and(|word| token.is(word)) {
            return Err(Problem::new(
                StatusCode::UNAUTHORIZED,
                doing,
                "it carries no token, or a wrong one",
                "send the header Authorization: Bearer and the token of this bench",
            ));
        }
    } else if !host.is_some_and(is_here) {
        return Err(Problem::new(
            StatusCode::FORBIDDEN,
            doing,
            "its Host names another machine than this one",
            "ask by a loopback address or localhost",
        ));
    }
    if let (Some(origin), _) = one(header::ORIGIN) {
        let of = origin.to_str().ok().and_then(|o| o.split_once("://")).map(|(_, authority)| authority);
        if of.is_none() || of != host {
            return Err(Problem::new(
                StatusCode::FORBIDDEN,
                doing,
                "it comes from a page of another origin",
                "ask from a program, or from a page of the bench itself",
            ));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(all: &[(&'static str, &str)]) -> HeaderMap {
        let mut map = HeaderMap::new();
        for (name, value) in all {
            map.append(*name, value.parse().expect("a value"));
        }
        map
    }

    fn status(all: &[(&'static str, &str)], token: Option<&Token>) -> u16 {
        check(&headers(all), token).map_or_else(|p| p.status, |()| 200)
    }

    #[test]
    fn hosts() {
        for good in ["localhost", "LOCALHOST:4620", "127.0.0.1:1", "127.8.9.1", "[::1]:4620", "[::1]"] {
            assert_eq!(status(&[("host", good)], None), 200, "{good}");
        }
        for bad in [
            "",
            "bench.example",
            "127.0.0.1.bench.example:80",
            "10.0.0.1",
            "localhost.",
            "[::2]:1",
            "0.0.0.0",
        ] {
            assert_eq!(status(&[("host", bad)], None), 403, "{bad}");
        }
        assert_eq!(status(&[], None), 403);
        assert_eq!(status(&[("host", "localhost"), ("host", "localhost")], None), 403);
    }

    #[test]
    fn origins() {
        let of = |origin| status(&[("host", "localhost:4620"), ("origin", origin)], None);
        assert_eq!(of("http://localhost:4620"), 200);
        for bad in ["http://localhost:3000", "http://bench.example", "null", ""] {
            assert_eq!(of(bad), 403, "{bad}");
        }
    }

    #[test]
    fn tokens() {
        let token = Token::new(" brackenmoor-2026-11\n").expect("a token");
        let of = |value| status(&[("host", "bench.example"), ("authorization", value)], Some(&token));
        assert_eq!(of("Bearer brackenmoor-2026-11"), 200);
        assert_eq!(of("bearer brackenmoor-2026-11"), 200);
        for bad in [
            "Bearer brackenmoor-2026-1",
            "Bearer brackenmoor-2026-111",
            "Bearer crackenmoor-2026-11",
            "Bearer ",
            "Basic brackenmoor-2026-11",
            "brackenmoor-2026-11",
            "",
        ] {
            assert_eq!(of(bad), 401, "{bad}");
        }
        assert_eq!(status(&[("host", "localhost")], Some(&token)), 401);
        for bad in ["", "too-short-a-word", "with a space inside it", &"a".repeat(257)] {
            assert_eq!(Token::new(bad).is_err(), bad != "too-short-a-word", "{bad}");
        }
        assert!(!format!("{token:?}").contains("bracken"));
    }

    #[test]
    fn who_may_listen_where() {
        for (at, has_token, may) in [
            ("127.0.0.1:0", false, true),
            ("[::1]:4620", false, true),
            ("0.0.0.0:4620", false, false),
            ("10.1.2.3:4620", false, false),
            ("[::]:4620", false, false),
            ("0.0.0.0:4620", true, true),
        ] {
            assert_eq!(why_not_listen(at.parse().expect("an address"), has_token).is_none(), may, "{at}");
        }
    }
}
