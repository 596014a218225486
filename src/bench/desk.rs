//! What clients of HART-IP servers ask, on its way to the wires and back [IP-15], without I/O.

use crate::device::{Behind, Gateway, Handled};
use crate::frame::{Address, Frame, Master, Target, UniqueAddress};
use crate::ip::{Answer, DirectCommand, DirectPdu, Request, Ticket};
use std::collections::{BTreeMap, VecDeque};

/// Command that carries the number of another above 255 [CM-031].
const EXTENDED: u8 = 31;

/// Whom an answer is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Client {
    /// Which line of the plan.
    pub line: usize,
    /// As its server gave it out.
    pub ticket: Ticket,
}

/// What is to be done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ToDo {
    /// Ask this on the wires, and bring what came of it with [`Desk::answered`].
    Ask {
        /// To be given back.
        number: u64,
        /// The request, with the master's bit of whoever asked.
        frame: Frame,
        /// On which channel of the gateway; `None`: on the one where whoever it is for is.
        channel: Option<usize>,
    },
    /// Bring a client its answer.
    Answer(Client, Answer),
}

/// The commands of a direct PDU, asked one after the other.
#[derive(Clone, Debug)]
struct Several {
    address: Address,
    left: VecDeque<DirectCommand>,
    /// The one that was asked last.
    number: u16,
    done: DirectPdu,
}

impl Several {
    /// The next one cannot be asked, or its answer cannot be given: what has been done is answered all the same [IP-15].
    fn ends(self, client: Client) -> ToDo {
        match self.done.commands.is_empty() {
            true => ToDo::Answer(client, Answer::Unavailable),
            false => ToDo::Answer(client, Answer::Direct(self.done)),
        }
    }
}

#[derive(Clone, Debug)]
enum Job {
    Frame,
    /// A request to the gateway that it carries to a device behind it, and what it was asked for.
    Carried(Frame, Box<Job>),
    Several(Several),
}

/// Requests that are on the wires. There are never more than the servers let wait.
#[derive(Clone, Debug)]
pub struct Desk {
    gateway: Option<Gateway>,
    /// The device that direct PDUs are for.
    own: UniqueAddress,
    next: u64,
    jobs: BTreeMap<u64, (Client, Job)>,
}

impl Desk {
    /// A desk whose servers are this gateway or, without one, are at the device with this address.
    pub fn new(gateway: Option<Gateway>, first: UniqueAddress) -> Desk {
        let own = gateway.as_ref().map_or(first, Gateway::unique_address);
        Desk { gateway, own, next: 0, jobs: BTreeMap::new() }
    }

    /// How many requests are on the wires.
    pub fn waiting(&self) -> usize {
        self.jobs.len()
    }

    /// A client wants something; `behind` are the devices of the bench.
    pub fn asked(&mut self, client: Client, request: Request, behind: &dyn Behind) -> ToDo {
        match request {
            Request::Frame(frame) => self.put(client, frame, Job::Frame, behind),
            Request::Direct { master, commands } => {
                let address = Address::new(master, Target::Unique(self.own));
                let done = DirectPdu::default();
                self.go_on(client, Several { address, left: commands.into(), number: 0, done }, behind)
            }
        }
    }

    /// What came of a request on the wires; nothing to do where nobody waits for it any more.
    pub fn answered(&mut self, number: u64, frame: Option<Frame>, behind: &dyn Behind) -> Option<ToDo> {
        let (client, job) = self.jobs.remove(&number)?;
        Some(self.resolve(client, job, frame, behind))
    }

    /// A client does not wait any more: gives the number of what need not be asked for it.
    pub fn forgotten(&mut self, client: Client) -> Option<u64> {
        let number = self.jobs.iter().find(|(_, (c, _))| *c == client).map(|(number, _)| *number)?;
        self.jobs.remove(&number);
        Some(number)
    }

    /// Nothing of what is on the wires will be answered: the clients are told.
    pub fn give_up(&mut self) -> Vec<ToDo> {
        let jobs = core::mem::take(&mut self.jobs);
        jobs.into_values().map(|(client, _)| ToDo::Answer(client, Answer::Unavailable)).collect()
    }

    /// A request goes to the gateway, or to the wires.
    fn put(&mut self, client: Client, frame: Frame, job: Job, behind: &dyn Behind) -> ToDo {
        match self.gateway.as_ref().map_or(Handled::PassOn, |g| g.handle(&frame, behind)) {
            Handled::PassOn => self.ask(client, frame, None, job),
            Handled::Ask(channel, inner) => {
                self.ask(client, inner, Some(channel), Job::Carried(frame, Box::new(job)))
            }
            Handled::Answer(reply) => self.resolve(client, job, Some(reply), behind),
            Handled::Nothing => self.resolve(client, job, None, behind),
        }
    }

    fn ask(&mut self, client: Client, frame: Frame, channel: Option<usize>, job: Job) -> ToDo {
        self.next += 1;
        self.jobs.insert(self.next, (client, job));
        ToDo::Ask { number: self.next, frame, channel }
    }

    fn resolve(&mut self, client: Client, job: Job, answer: Option<Frame>, behind: &dyn Behind) -> ToDo {
        match (job, answer) {
            (Job::Carried(request, job), answer) => {
                let reply = self.gateway.as_ref().and_then(|g| g.carried(&request, answer.as_ref()));
                self.resolve(client, *job, reply, behind)
            }
            // What has been done is answered.
            (Job::Several(several), None) if !several.done.commands.is_empty() => {
                ToDo::Answer(client, Answer::Direct(several.done))
            }
            (_, None) => ToDo::Answer(client, Answer::Silent),
            (Job::Frame, Some(frame)) => ToDo::Answer(client, Answer::Frame(frame)),
            (Job::Several(mut several), Some(frame)) => {
                let [code, device_status] = frame.status().unwrap_or_default();
                several.done.device_status = device_status;
                // What carried the number of an extended command is not part of its data.
                let data = match several.number {
                    0..=255 => frame.data().clone(),
                    _ => frame.data().slice(2.min(frame.data().len())..),
                };
                match DirectCommand::new(several.number, [&[code], &data[..]].concat()) {
                    Ok(command) => several.done.commands.push(command),
                    Err(_) => return several.ends(client),
                }
                self.go_on(client, several, behind)
            }
        }
    }

    fn go_on(&mut self, client: Client, mut several: Several, behind: &dyn Behind) -> ToDo {
        let Some(command) = several.left.pop_front() else {
            return ToDo::Answer(client, Answer::Direct(several.done));
        };
        several.number = command.number;
        let (number, data) = match u8::try_from(command.number) {
            Ok(number) => (number, command.data().clone()),
            Err(_) => {
                let carried = [&command.number.to_be_bytes()[..], &command.data()[..]].concat();
                (EXTENDED, carried.into())
            }
        };
        match Frame::request(several.address, number, data) {
            Ok(frame) => self.put(client, frame, Job::Several(several), behind),
            Err(_) => several.ends(client),
        }
    }
}

/// Which of two masters asks on the wires for a client that is `wanted`; the first that is there if that one is not.
pub fn relay_for(wanted: Master, there: &[Master]) -> Option<usize> {
    there.iter().position(|m| *m == wanted).or((!there.is_empty()).then_some(0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::device::{GatewayConfig, SubDevice};
    use crate::frame::PollingAddress;

    const NONE: Vec<SubDevice> = Vec::new();

    fn own() -> UniqueAddress {
        UniqueAddress::from_octets([0x3D, 0x71, 0, 0, 7])
    }

    fn client(n: u64) -> Client {
        Client { line: 0, ticket: Ticket(n) }
    }

    fn asked(todo: ToDo) -> (u64, Frame) {
        match todo {
            ToDo::Ask { number, frame, .. } => (number, frame),
            other => panic!("{other:?}"),
        }
    }

    fn reply(to: &Frame, status: [u8; 2], data: &[u8]) -> Frame {
        Frame::reply(false, to.address(), to.command(), status, data.to_vec()).expect("a short frame")
    }

    #[test]
    fn frames_go_through() {
        let mut desk = Desk::new(None, own());
        let to = Address::new(Master::Secondary, Target::Unique(own()));
        let frame = Frame::request(to, 3, vec![]).expect("a short frame");
        let (number, on_wires) = asked(desk.asked(client(1), Request::Frame(frame.clone()), &NONE));
        assert_eq!(on_wires, frame);
        let answer = reply(&frame, [0, 0], &[1]);
        let done = desk.answered(number, Some(answer.clone()), &NONE);
        assert_eq!(done, Some(ToDo::Answer(client(1), Answer::Frame(answer))));
        assert_eq!((desk.answered(number, None, &NONE), desk.waiting()), (None, 0));
        let (number, _) = asked(desk.asked(client(2), Request::Frame(frame.clone()), &NONE));
        assert_eq!(desk.answered(number, None, &NONE), Some(ToDo::Answer(client(2), Answer::Silent)));
        let (number, _) = asked(desk.asked(client(4), Request::Frame(frame.clone()), &NONE));
        assert_eq!((desk.forgotten(client(4)), desk.forgotten(client(4))), (Some(number), None));
        assert_eq!(desk.answered(number, None, &NONE), None);
        asked(desk.asked(client(3), Request::Frame(frame), &NONE));
        assert_eq!(desk.give_up(), [ToDo::Answer(client(3), Answer::Unavailable)]);
    }

    /// [IP-09] [IP-15]: one after the other, an extended one inside command 31; the status octet of the last answer.
    #[test]
    fn direct_commands_are_asked_one_by_one() {
        let mut desk = Desk::new(None, own());
        let commands = vec![
            DirectCommand::new(54, vec![0]).expect("short"),
            DirectCommand::new(0x0215, vec![9]).expect("short"),
        ];
        let request = Request::Direct { master: Master::Primary, commands };
        let (number, first) = asked(desk.asked(client(1), request, &NONE));
        assert_eq!((first.command(), &first.data()[..]), (54, &[0][..]));
        assert_eq!(first.address(), Address::new(Master::Primary, Target::Unique(own())));
        let then =
            desk.answered(number, Some(reply(&first, [0, 0x80], &[0, 1, 2])), &NONE).expect("it goes on");
        let (number, second) = asked(then);
        assert_eq!((second.command(), &second.data()[..]), (31, &[2, 0x15, 9][..]));
        let done = desk.answered(number, Some(reply(&second, [64, 0x10], &[2, 0x15])), &NONE);
        let Some(ToDo::Answer(_, Answer::Direct(pdu))) = done else { panic!("{done:?}") };
        let octets = [0x10, 0, 0, 54, 4, 0, 0, 1, 2, 2, 0x15, 1, 64];
        assert_eq!(pdu.encode()[..], octets);
        // The second is not answered, or no frame can carry it: what was done is answered [IP-15].
        for last in [vec![9], vec![0; 254]] {
            let commands = [(54, vec![0]), (0x0215, last)]
                .map(|(n, data)| DirectCommand::new(n, data).expect("short enough"));
            let request = Request::Direct { master: Master::Primary, commands: commands.to_vec() };
            let (number, first) = asked(desk.asked(client(3), request, &NONE));
            let mut done =
                desk.answered(number, Some(reply(&first, [0, 0x80], &[0])), &NONE).expect("it goes on");
            if let ToDo::Ask { number, .. } = done {
                done = desk.answered(number, None, &NONE).expect("an end");
            }
            let ToDo::Answer(_, Answer::Direct(pdu)) = done else { panic!("{done:?}") };
            assert_eq!(pdu.encode()[..], [0x80, 0, 0, 54, 2, 0, 0]);
        }
        // None of them is answered.
        let commands = vec![DirectCommand::new(54, vec![0]).expect("short")];
        let (number, _) =
            asked(desk.asked(client(4), Request::Direct { master: Master::Primary, commands }, &NONE));
        assert_eq!(desk.answered(number, None, &NONE), Some(ToDo::Answer(client(4), Answer::Silent)));
        // Data that no frame can carry.
        let commands = vec![DirectCommand::new(0x0215, vec![0; 254]).expect("short enough")];
        let request = Request::Direct { master: Master::Primary, commands };
        assert_eq!(desk.asked(client(2), request, &NONE), ToDo::Answer(client(2), Answer::Unavailable));
    }

    const GATEWAY: &str = "Brackenmoor gateway";

    fn with_gateway() -> (Desk, UniqueAddress) {
        let config = GatewayConfig { tag: "GW-3100".into(), long_tag: GATEWAY.into(), device_id: 0x31_00_00 };
        let gateway = Gateway::new(config);
        let address = gateway.unique_address();
        (Desk::new(Some(gateway), own()), address)
    }

    fn behind() -> Vec<SubDevice> {
        let sub = |n: u8| SubDevice {
            unique: UniqueAddress::from_octets([0x3D, 0x71, 0, 0, n]),
            device_type: 0xFD71,
            device_id: n.into(),
            revision: 7,
            long_tag: format!("filter {n}"),
            device_revision: 1,
            profile: 1,
            private_label: 0x00FD,
            channel: 0,
        };
        vec![sub(7), sub(8)]
    }

    /// The octets of a request of the secondary master as a frame.
    fn request(to: UniqueAddress, command: u8, data: &[u8]) -> Frame {
        let to = Address::new(Master::Secondary, Target::Unique(to));
        Frame::request(to, command, data.to_vec()).expect("a short frame")
    }

    fn answer(todo: ToDo) -> Frame {
        match todo {
            ToDo::Answer(_, Answer::Frame(frame)) => frame,
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_gateway_answers_for_itself() {
        let (mut desk, gateway) = with_gateway();
        let mut ask = |to, command, data: &[u8]| {
            let frame = request(to, command, data);
            answer(desk.asked(client(1), Request::Frame(frame), &behind()))
        };
        // Type FD84 with profile 132; its address has the low 14 bits of the type [FR-06].
        let identity = ask(gateway, 0, &[]);
        assert_eq!(
            (identity.data()[0], &identity.data()[1..3], identity.data()[21]),
            (254, &[0xFD, 0x84][..], 132)
        );
        assert_eq!(gateway.octets()[..2], [0x3D, 0x84]);
        // [CM-074]: one card, one channel, 64 polling addresses, itself and two, retries 3.
        assert_eq!(ask(gateway, 74, &[]).data()[..], [1, 1, 64, 0, 3, 0, 1, 3]);
        // [CM-084]: 48 octets; the second device behind it.
        let second = ask(gateway, 84, &[0, 2]);
        assert_eq!(second.data().len(), 48);
        assert_eq!(second.data()[..12], [0, 2, 0, 0, 0x00, 0xFD, 0xFD, 0x71, 0, 0, 8, 7]);
        assert_eq!(&second.data()[12..20], b"filter 8");
        assert_eq!(&ask(gateway, 84, &[0, 0]).data()[12..31], GATEWAY.as_bytes());
        let code = |frame: &Frame| frame.status().expect("a reply")[0];
        assert_eq!(code(&ask(gateway, 84, &[0, 3])), 2);
        assert_eq!(code(&ask(gateway, 84, &[0])), 5);
        assert_eq!(code(&ask(gateway, 3, &[])), 64);
        assert_eq!(code(&ask(gateway, 75, &[1, 0, 0])), 2);
        assert_eq!(code(&ask(gateway, 75, &[0, 0, 64])), 2);
        assert_eq!(code(&ask(gateway, 77, &[0, 0, 5, 0x86, 1, 2, 3, 4, 5, 0, 0])), 2);
        assert_eq!(code(&ask(gateway, 77, &[0, 0, 5, 0x82, 1, 2, 3, 4, 5, 0, 9])), 5);
    }

    #[test]
    fn a_gateway_asks_those_behind_it() {
        let (mut desk, gateway) = with_gateway();
        // 75: polling address 5; the answer is that of command 0.
        let poll = request(gateway, 75, &[0, 0, 5]);
        let (number, inner) = asked(desk.asked(client(1), Request::Frame(poll), &behind()));
        assert_eq!(inner.encode()[..], [0x02, 0x05, 0, 0, 0x07]);
        let done = desk.answered(number, Some(reply(&inner, [0, 0], &[254, 1, 2])), &NONE);
        assert_eq!(answer(done.expect("an answer")).data()[..], [254, 1, 2]);
        // 77, as in message 148 of [TSHARK]: command 3 to a unique address, answered with its status.
        let carry = request(gateway, 77, &[0, 0, 5, 0x82, 0x3D, 0x71, 0, 0, 8, 3, 0]);
        let (number, inner) = asked(desk.asked(client(2), Request::Frame(carry.clone()), &behind()));
        assert_eq!(inner, request(UniqueAddress::from_octets([0x3D, 0x71, 0, 0, 8]), 3, &[]));
        let done = desk.answered(number, Some(reply(&inner, [0, 0x40], &[9])), &NONE);
        let octets = [0, 0, 0x86, 0x3D, 0x71, 0, 0, 8, 3, 3, 0, 0x40, 9];
        assert_eq!(answer(done.expect("an answer")).data()[..], octets);
        // Nobody behind it answers: that is a response code of the gateway.
        let (number, _) = asked(desk.asked(client(3), Request::Frame(carry), &behind()));
        let done = answer(desk.answered(number, None, &NONE).expect("an answer"));
        assert_eq!(done.status(), Some([9, 0]));
    }

    #[test]
    fn a_gateway_passes_on_what_is_not_for_it() {
        let (mut desk, gateway) = with_gateway();
        let frame = request(own(), 3, &[]);
        assert_eq!(asked(desk.asked(client(1), Request::Frame(frame.clone()), &behind())).1, frame);
        // By tag: its own it answers, others go to the wires.
        let tag = [GATEWAY.as_bytes(), &[0; 13]].concat();
        let by_tag = request(UniqueAddress::BROADCAST, 21, &tag);
        let found = answer(desk.asked(client(2), Request::Frame(by_tag), &behind()));
        assert_eq!(found.address().target, Target::Unique(gateway));
        let other = request(UniqueAddress::BROADCAST, 21, &[b'x'; 32]);
        asked(desk.asked(client(3), Request::Frame(other), &behind()));
        // Polling address 0 is the gateway; the others are nobody, for 75 polls those behind it.
        let poll = |n| {
            let to = Target::Polling(PollingAddress::new(n).expect("an address"));
            Frame::request(Address::new(Master::Secondary, to), 0, vec![]).expect("a short frame")
        };
        assert_eq!(answer(desk.asked(client(4), Request::Frame(poll(0)), &behind())).data()[2], 0x84);
        let nobody = desk.asked(client(5), Request::Frame(poll(7)), &behind());
        assert_eq!(nobody, ToDo::Answer(client(5), Answer::Silent));
        // A direct PDU is for the gateway itself, many commands at once.
        let commands = vec![DirectCommand::new(74, vec![]).expect("short"); 64];
        let request = Request::Direct { master: Master::Secondary, commands };
        let ToDo::Answer(_, Answer::Direct(pdu)) = desk.asked(client(6), request, &behind()) else {
            panic!("the gateway answers itself")
        };
        assert!(pdu.commands.len() == 64 && pdu.commands.iter().all(|c| c.data().len() == 9));
    }

    #[test]
    fn who_asks() {
        use Master::{Primary, Secondary};
        assert_eq!(relay_for(Secondary, &[Primary, Secondary]), Some(1));
        assert_eq!(relay_for(Secondary, &[Primary]), Some(0));
        assert_eq!(relay_for(Secondary, &[]), None);
    }
}
