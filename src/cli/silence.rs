//! What to tell when nobody answers: on a wire, and where a HART-IP server asks for us.

use super::output::Failure;
use crate::host::To;
use crate::ip::ClientNews;
use crate::line::io::PeerNews;
use std::sync::{Arc, Mutex, PoisonError};

/// Why a server gave no answer, as far as it said so.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Word {
    /// It turned the request down, for the reason given.
    Refused(String),
    /// No device answers.
    Silent,
}

/// The last word of the server at the other end of a `hart-ip:` line.
#[derive(Clone, Debug, Default)]
pub struct ServerSaid(Arc<Mutex<Option<Word>>>);

impl ServerSaid {
    /// Keeps what it says.
    pub fn note(&self, news: &PeerNews) {
        let word = match news {
            PeerNews::Server(ClientNews::Denied(why)) => Word::Refused(why.clone()),
            PeerNews::Server(ClientNews::Silent) => Word::Silent,
            _ => return,
        };
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = Some(word);
    }

    fn word(&self) -> Option<Word> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }
}

/// The same of a device that was asked for in vain; `server` where one was asked in place of wires.
pub fn nobody(doing: String, to: &To, server: Option<&ServerSaid>) -> Failure {
    let Some(server) = server else { return Failure::new(doing, "nobody answered", on_wires(to)) };
    let look = match to {
        To::Polling(_) => {
            "`looprig scan LINE` lists who answers; one behind a gateway is named by its tag or unique address"
        }
        To::Tag(_) | To::LongTag(_) => {
            "the tag must match to the last character: `looprig scan LINE` lists the tags, also of those behind a gateway"
        }
        To::Unique(_) => "`looprig scan LINE` shows the unique addresses, also of those behind a gateway",
    };
    through_server(doing, look, server)
}

/// The same of a scan; `more` says where else a device may be.
pub fn nobody_at_all(doing: String, more: &str, server: Option<&ServerSaid>) -> Failure {
    match server {
        None => {
            let next = format!("check loop power, 250 ohm or so in the loop and the modem's clips{more}");
            Failure::new(doing, "nobody answered", next)
        }
        Some(server) => {
            let look = format!("see at the server whether its devices have power and are on its wires{more}");
            through_server(doing, &look, server)
        }
    }
}

fn through_server(doing: String, look: &str, server: &ServerSaid) -> Failure {
    match server.word() {
        Some(Word::Silent) => {
            Failure::new(doing, "the server says that no device answers there", look.to_owned())
        }
        Some(Word::Refused(why)) => Failure::new(
            doing,
            format!("the server gave no answer of a device: {why}"),
            "see at the server whether its bench stands or its wires are cut off, then ask again",
        ),
        None => Failure::new(
            doing,
            "the server did not answer",
            "see whether it and the network to it are still there, then ask again",
        ),
    }
}

/// What to look at on wires. Common practice, no source.
fn on_wires(to: &To) -> String {
    let address = match to {
        To::Polling(_) => "`looprig scan LINE` looks at other polling addresses",
        To::Tag(_) | To::LongTag(_) => "the tag must match to the last character; try polling address 0",
        To::Unique(_) => "`looprig scan LINE` shows the unique addresses of who answers",
    };
    format!(
        "{address}; else check loop power at the device, 250 ohm or so in the loop, the modem's clips, and that no barrier blocks the signal"
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::PollingAddress;

    /// The server's own word is told, and nobody is sent to a modem that is not there.
    #[test]
    fn a_server_is_no_modem() {
        let zero = To::Polling(PollingAddress::default());
        let told = |to: &To, news: Option<ClientNews>| {
            let server = ServerSaid::default();
            news.into_iter().for_each(|n| server.note(&PeerNews::Server(n)));
            server.note(&PeerNews::Came);
            [nobody("asking".into(), to, Some(&server)), nobody_at_all("scanning".into(), "", Some(&server))]
                .map(|f| f.to_string())
        };
        let refused = ClientNews::Denied("error 2 (service unavailable)".into());
        for (news, word) in [
            (Some(refused), "error 2 (service unavailable)"),
            (Some(ClientNews::Silent), "no device answers"),
            (None, "the server did not answer"),
        ] {
            for text in told(&zero, news) {
                let modem = ["modem", "ohm", "barrier"].iter().any(|w| text.contains(w));
                assert!(text.contains(word) && !modem, "{text}");
            }
        }
        let [text, _] = told(&To::Tag("NOPE".into()), Some(ClientNews::Silent));
        assert!(text.contains("lists the tags"), "{text}");
        let wires = nobody("asking".into(), &zero, None).to_string();
        assert!(wires.contains("nobody answered") && wires.contains("modem's clips"), "{wires}");
    }
}
