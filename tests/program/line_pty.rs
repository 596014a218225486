//! Serial ports and pseudo-terminals of this machine [LI-02] [LI-03], tried on each other.

use looprig::line::io::{PortEvent, PortLine, Ports};
use looprig::line::{Event, Fault, Line};
use looprig::time::{Instant, Pace};
use proptest::prelude::*;
use std::cell::RefCell;
use std::fs;
use std::io::Write;
use std::os::fd::AsRawFd;
use std::os::unix::fs::{OpenOptionsExt, symlink};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Far more than anything here takes; a test that gets there has failed.
const LONG: Duration = Duration::from_secs(20);

/// Octets that a terminal in line mode would swallow, alter or act upon: interrupt, end of file,
/// carriage return and line feed, stop and start of flow control, escape of a parity mark, and 00.
const AWKWARD: [u8; 12] = [0x03, 0x04, 0x0D, 0x0A, 0x11, 0x13, 0x15, 0x1A, 0x1C, 0x7F, 0xFF, 0x00];

fn serial_on(path: &Path) -> PortLine {
    PortLine::open_serial(path.to_str().unwrap(), Pace::Fast).unwrap()
}

fn pty() -> PortLine {
    PortLine::open_pty(None, Pace::Fast).unwrap()
}

/// Reads until `count` octets are there.
fn receive(line: &mut impl Line, count: usize) -> Vec<u8> {
    let deadline = line.now() + LONG;
    let mut got = Vec::new();
    while got.len() < count {
        match line.wait(Some(deadline)).unwrap() {
            Event::Octets(octets) => got.extend(octets.iter().map(|o| o.value)),
            Event::Sent { .. } => {}
            other => panic!("{other:?} after {got:02X?}"),
        }
    }
    got
}

/// The next event that `wanted` accepts; others are skipped.
fn event(ports: &mut Ports, wanted: impl Fn(&PortEvent) -> bool) -> PortEvent {
    let deadline = ports.now() + LONG;
    loop {
        let event = ports.wait(Some(deadline));
        if wanted(&event) {
            return event;
        }
        assert_ne!(event, PortEvent::TimeOut, "what was wanted never came");
    }
}

fn came(ports: &mut Ports) {
    event(ports, |e| matches!(e, PortEvent::PeerCame { .. }));
}

fn gone(ports: &mut Ports) {
    let e = event(ports, |e| matches!(e, PortEvent::PeerGone { .. }));
    assert_eq!(e, PortEvent::PeerGone { port: 0, locked: false });
}

/// Makes sure that the pseudo-terminal has seen the serial line come: it drops octets until then.
fn meet(pty: &mut PortLine, serial: &mut PortLine) {
    serial.send(b"hello").unwrap();
    assert_eq!(receive(pty, 5), b"hello");
}

fn open_raw(path: &Path) -> fs::File {
    fs::File::options().read(true).write(true).custom_flags(libc::O_NOCTTY).open(path).unwrap()
}

fn local_flags(terminal: &fs::File) -> libc::tcflag_t {
    // SAFETY: plain numbers; the descriptor is open.
    unsafe {
        let mut t: libc::termios = std::mem::zeroed();
        assert_eq!(libc::tcgetattr(terminal.as_raw_fd(), &raw mut t), 0);
        t.c_lflag
    }
}

fn scratch(name: &str) -> PathBuf {
    let dir = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("{name}-{}", std::process::id()));
    let _ = fs::remove_dir_all(&dir);
    fs::create_dir_all(&dir).unwrap();
    dir
}

#[test]
fn every_octet_passes_both_ways() {
    let mut near = pty();
    let mut far = serial_on(near.path());
    meet(&mut near, &mut far);
    let all: Vec<u8> = (0..=255).chain(AWKWARD).collect();
    far.send(&all).unwrap();
    assert_eq!(receive(&mut near, all.len()), all);
    near.send(&all).unwrap();
    assert_eq!(receive(&mut far, all.len()), all);
    // A pseudo-terminal keeps no parity, and the line says so.
    assert!(far.describe().contains("8N1"), "{}", far.describe());
    assert!(!far.capabilities().parity_seen && !far.capabilities().echo);
    assert!(near.describe().starts_with("pty:"), "{}", near.describe());
}

#[test]
fn arbitrary_octets_pass_unaltered() {
    let near = pty();
    let far = serial_on(near.path());
    let ends = RefCell::new((near, far));
    {
        let (near, far) = &mut *ends.borrow_mut();
        meet(near, far);
    }
    let octet = prop_oneof![any::<u8>(), prop::sample::select(AWKWARD.to_vec())];
    let strategy = (prop::collection::vec(octet, 1..300), any::<bool>());
    let config = ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(200) };
    proptest!(config, |((values, outward) in strategy)| {
        let (near, far) = &mut *ends.borrow_mut();
        let (from, to) = if outward { (near, far) } else { (far, near) };
        from.send(&values).unwrap();
        prop_assert_eq!(receive(to, values.len()), values);
    });
}

#[test]
fn a_program_leaves_and_the_next_one_starts_clean() {
    let mut ports = Ports::new();
    let port = ports.open_pty(None, Pace::Fast).unwrap();
    let path = ports.path(port).to_path_buf();
    // Nobody is there: octets are dropped as on a wire, and take their time all the same.
    assert!(!ports.write(port, b"nobody").unwrap());
    ports.send(port, b"nobody").unwrap();
    event(&mut ports, |e| matches!(e, PortEvent::Sent { .. }));

    for round in 0..3u8 {
        let mut host = serial_on(&path);
        came(&mut ports);
        host.send(&[round]).unwrap();
        let got = event(&mut ports, |e| matches!(e, PortEvent::Octets { .. }));
        assert!(matches!(got, PortEvent::Octets { values, .. } if values == [round]));
        // The first thing that it hears is meant for it, not what the deaf one left unread.
        assert!(ports.write(port, &[0xA0 + round]).unwrap());
        assert_eq!(receive(&mut host, 1), [0xA0 + round]);
        drop(host);
        gone(&mut ports);
        assert!(!ports.write(port, b"nobody").unwrap());
        let deaf = open_raw(&path);
        came(&mut ports);
        // As much as there is room for, so that both buffers on the way hold some.
        while ports.write(port, b"never read").unwrap() {}
        drop(deaf);
        gone(&mut ports);
    }
    // What a program says last is heard although it has gone.
    let mut host = serial_on(&path);
    host.send(b"last").unwrap();
    assert!(matches!(host.wait(None), Ok(Event::Sent { .. })));
    drop(host);
    let got = event(&mut ports, |e| matches!(e, PortEvent::Octets { .. }));
    assert!(matches!(got, PortEvent::Octets { values, .. } if values == b"last"));
    gone(&mut ports);
}

#[test]
fn nothing_is_echoed_whatever_the_last_program_left() {
    let mut ports = Ports::new();
    let port = ports.open_pty(None, Pace::Fast).unwrap();
    let path = ports.path(port).to_path_buf();
    let line_mode = libc::ECHO | libc::ICANON | libc::ISIG;

    let first = open_raw(&path);
    assert_eq!(local_flags(&first) & line_mode, 0, "a new one is raw");
    came(&mut ports);
    // SAFETY: plain numbers; the descriptor is open.
    unsafe {
        let mut t: libc::termios = std::mem::zeroed();
        assert_eq!(libc::tcgetattr(first.as_raw_fd(), &raw mut t), 0);
        t.c_lflag |= line_mode;
        let set = libc::tcsetattr(first.as_raw_fd(), libc::TCSANOW, &raw const t);
        assert_eq!(set, 0);
    }
    drop(first);
    gone(&mut ports);

    let second = open_raw(&path);
    assert_eq!(local_flags(&second) & line_mode, 0, "the next one is raw");
    came(&mut ports);
    assert!(ports.write(port, b"spoken once").unwrap());
    // Whatever an echo puts our way stands before what the program says after it has read it.
    let mut heard = [0u8; 11];
    std::io::Read::read_exact(&mut &second, &mut heard).unwrap();
    std::io::Write::write_all(&mut &second, b"answer").unwrap();
    let got = event(&mut ports, |e| matches!(e, PortEvent::Octets { .. }));
    assert!(matches!(&got, PortEvent::Octets { values, .. } if values == b"answer"), "{got:?}");
}

#[test]
fn a_program_that_does_not_read_stalls_nobody() {
    let mut ports = Ports::new();
    let port = ports.open_pty(None, Pace::Fast).unwrap();
    let _deaf = open_raw(ports.path(port));
    came(&mut ports);
    let mut taken = 0;
    // Linux holds about 20 kB; the bound is only there to end a test that has failed.
    while ports.write(port, &[0x55; 1000]).unwrap() {
        taken += 1;
        assert!(taken < 10_000, "it takes everything");
    }

    // The other way round: a serial line whose other end does not read.
    let master = bare_master();
    let mut line = serial_on(&master.1);
    let error = (0..1000).find_map(|_| line.send(&[0x55; 1000]).err());
    assert_eq!(error.expect("it takes everything").fault, Fault::Stuck);
}

/// A pseudo-terminal that nobody tidies: our end, and the path of the other.
fn bare_master() -> (fs::File, PathBuf) {
    use std::os::fd::FromRawFd;
    // `ptsname` answers in one buffer for the whole process, and tests run side by side.
    static NAME: std::sync::Mutex<()> = std::sync::Mutex::new(());
    let _one_at_a_time = NAME.lock().unwrap();
    // SAFETY: a new descriptor that is ours alone; the name's length is that of the buffer.
    unsafe {
        let fd = libc::posix_openpt(libc::O_RDWR | libc::O_NOCTTY);
        assert!(fd >= 0);
        assert_eq!(libc::grantpt(fd), 0);
        assert_eq!(libc::unlockpt(fd), 0);
        let name = std::ffi::CStr::from_ptr(libc::ptsname(fd)).to_str();
        let path = PathBuf::from(name.unwrap());
        (fs::File::from_raw_fd(fd), path)
    }
}

#[test]
fn a_serial_line_is_for_sole_use_and_lets_go() {
    let (_master, path) = bare_master();
    let line = serial_on(&path);
    let error = PortLine::open_serial(path.to_str().unwrap(), Pace::Fast).err();
    let error = error.expect("two programs have one port");
    assert_eq!(error.fault, Fault::Busy);
    assert!(error.to_string().contains(path.to_str().unwrap()));
    drop(line);
    #[cfg(target_os = "linux")]
    {
        let terminal = open_raw(&path);
        let mut exclusive: libc::c_int = -1;
        // SAFETY: TIOCGEXCL writes one int.
        unsafe { libc::ioctl(terminal.as_raw_fd(), libc::TIOCGEXCL, &raw mut exclusive) };
        assert_eq!(exclusive, 0, "the mark for sole use is still there");
    }
    serial_on(&path);
}

/// Where another program has left mark parity on, odd parity would be a bit that is always 1.
#[cfg(target_os = "linux")]
#[test]
fn mark_parity_of_another_program_is_taken_off() {
    let (_master, path) = bare_master();
    let terminal = open_raw(&path);
    let flags = |set: libc::tcflag_t| {
        // SAFETY: plain numbers; the descriptor is open.
        unsafe {
            let mut t: libc::termios = std::mem::zeroed();
            assert_eq!(libc::tcgetattr(terminal.as_raw_fd(), &raw mut t), 0);
            t.c_cflag |= set;
            assert_eq!(libc::tcsetattr(terminal.as_raw_fd(), libc::TCSANOW, &raw const t), 0);
            t.c_cflag
        }
    };
    flags(libc::CMSPAR);
    assert_ne!(flags(0) & libc::CMSPAR, 0, "a pseudo-terminal keeps it");
    let _line = serial_on(&path);
    assert_eq!(flags(0) & libc::CMSPAR, 0);
    // To close it changes no line [LI-06].
    assert_eq!(flags(0) & libc::HUPCL, 0);
}

#[test]
fn a_lost_port_is_an_error_once_and_closed_for_ever() {
    let (master, path) = bare_master();
    let mut line = serial_on(&path);
    drop(master);
    let deadline = line.now() + LONG;
    assert_eq!(line.wait(Some(deadline)).unwrap_err().fault, Fault::Lost);
    assert_eq!(line.wait(None).unwrap(), Event::Closed);
    assert_eq!(line.send(b"x").unwrap_err().fault, Fault::Lost);
}

#[test]
fn what_is_no_serial_port_is_refused_with_a_reason() {
    let dir = scratch("refused");
    let file = dir.join("file");
    fs::write(&file, "kept").unwrap();
    for (path, fault) in [
        (dir.join("absent"), Fault::NotFound),
        (file.clone(), Fault::NotATerminal),
        (dir.clone(), Fault::NotATerminal),
        (PathBuf::from("/dev/null"), Fault::NotATerminal),
    ] {
        let error = PortLine::open_serial(path.to_str().unwrap(), Pace::Wire).err();
        assert_eq!(error.expect("it opened").fault, fault, "{path:?}");
    }
    assert_eq!(fs::read_to_string(&file).unwrap(), "kept");
}

/// Sets 1200 8O1 as most programs do, through the C library.
fn set_8o1(terminal: &fs::File) -> std::io::Result<()> {
    let fd = terminal.as_raw_fd();
    // SAFETY: plain numbers; the descriptor is open.
    unsafe {
        let mut t: libc::termios = std::mem::zeroed();
        assert_eq!(libc::tcgetattr(fd, &raw mut t), 0);
        libc::cfmakeraw(&raw mut t);
        t.c_cflag |= libc::PARENB | libc::PARODD | libc::CLOCAL | libc::CREAD;
        libc::cfsetspeed(&raw mut t, libc::B1200);
        match libc::tcsetattr(fd, libc::TCSANOW, &raw const t) {
            0 => Ok(()),
            _ => Err(std::io::Error::last_os_error()),
        }
    }
}

#[test]
fn parity_can_be_asked_for_at_every_opening() {
    // The C library refuses settings that change nothing and are not kept: the second program must
    // not meet those of the first.
    let mut ports = Ports::new();
    let port = ports.open_pty(None, Pace::Fast).unwrap();
    let path = ports.path(port).to_path_buf();
    for n in 0..3 {
        let program = open_raw(&path);
        came(&mut ports);
        set_8o1(&program).unwrap_or_else(|e| panic!("opening {n}: {e}"));
        drop(program);
        gone(&mut ports);
    }
}

#[test]
fn a_link_replaces_only_links_to_nothing_or_to_a_terminal() {
    let dir = scratch("link");
    let link = dir.join("port");
    let open = || PortLine::open_pty(Some(&link), Pace::Fast);

    fs::write(&link, "precious").unwrap();
    assert_eq!(open().err().unwrap().fault, Fault::LinkTaken);
    assert_eq!(fs::read_to_string(&link).unwrap(), "precious");
    fs::rename(&link, dir.join("file")).unwrap();

    symlink(dir.join("file"), &link).unwrap();
    assert_eq!(open().err().unwrap().fault, Fault::LinkTaken);
    assert_eq!(fs::read_link(&link).unwrap(), dir.join("file"));
    fs::remove_file(&link).unwrap();

    symlink(dir.join("nowhere"), &link).unwrap();
    let mut near = open().unwrap();
    assert_eq!(near.path(), link);
    let mut far = serial_on(&link);
    meet(&mut near, &mut far);
    assert!(far.describe().contains("8N1"), "seen through the link");

    // The next one takes the name over, and the first then leaves it alone.
    let second = open().unwrap();
    let target = fs::read_link(&link).unwrap();
    drop(near);
    assert_eq!(fs::read_link(&link).unwrap(), target);
    drop(second);
    assert!(fs::symlink_metadata(&link).is_err(), "the link stayed");

    // The folder is missing, or is no folder.
    for folder in [dir.join("no such directory"), dir.join("file")] {
        let error = PortLine::open_pty(Some(&folder.join("port")), Pace::Fast).err().unwrap();
        assert_eq!(error.fault, Fault::LinkFolder);
        let text = error.to_string();
        let lacks = format!("there is no folder {}", folder.display());
        assert!(text.starts_with("making the link of pty:") && text.contains(&lacks), "{text}");
        assert!(text.contains("next: make that folder first"), "{text}");
    }
}

#[test]
fn a_transmission_takes_the_time_of_its_pace() {
    let pace = Pace::Scaled(10.0);
    let mut near = PortLine::open_pty(None, pace).unwrap();
    let mut far = PortLine::open_serial(near.path().to_str().unwrap(), pace).unwrap();
    // 24 characters: 24 * 11 / 1200 s / 10 = 22 ms; each end's own clock counts it.
    let least = Duration::from_micros(21_999);
    for line in [&mut near, &mut far] {
        let begun = line.now();
        line.send(&[0xFF; 12]).unwrap();
        line.send(&[0xFF; 12]).unwrap();
        let mut ends = Vec::new();
        while ends.len() < 2 {
            match line.wait(Some(begun + LONG)).unwrap() {
                Event::Sent { at } => ends.push(at),
                Event::Octets(_) => {}
                other => panic!("{other:?}"),
            }
        }
        assert!(ends[1].since(begun) >= least, "{ends:?} from {begun}");
        assert!(ends[1].since(ends[0]) >= least / 2, "{ends:?}");
        assert!(line.now() >= ends[1]);
    }
}

#[test]
fn an_interrupt_ends_a_wait() {
    let mut line = pty();
    let handle = line.interrupt_handle();
    let helper = std::thread::spawn(move || handle.interrupt());
    // Without a deadline: only the interrupt can end it.
    assert_eq!(line.wait(None).unwrap(), Event::Interrupted);
    helper.join().unwrap();
    assert_eq!(line.wait(Some(Instant::ZERO)).unwrap(), Event::TimeOut);
}

#[test]
fn several_ports_have_one_clock() {
    let mut ports = Ports::new();
    let near = ports.open_pty(None, Pace::Fast).unwrap();
    let path = ports.path(near).to_str().unwrap().to_string();
    let far = ports.open_serial(&path, Pace::Fast).unwrap();
    came(&mut ports);
    let before = ports.now();
    assert!(ports.write(near, b"out").unwrap());
    let PortEvent::Octets { port, values, at, .. } =
        event(&mut ports, |e| matches!(e, PortEvent::Octets { .. }))
    else {
        unreachable!()
    };
    assert_eq!((port, values.as_slice()), (far, b"out".as_slice()));
    assert!(before <= at && at <= ports.now());
    assert_eq!(ports.count(), 2);
}

/// What the program at the other end sets can be read, parity apart [LI-11].
#[cfg(target_os = "linux")]
#[test]
fn settings_of_the_other_end_are_read() {
    let settings = |ports: &mut Ports| {
        let e = event(ports, |e| matches!(e, PortEvent::PeerSettings { .. }));
        let PortEvent::PeerSettings { settings, .. } = e else { unreachable!() };
        settings
    };
    let mut ports = Ports::new();
    let port = ports.open_pty(None, Pace::Fast).unwrap();
    let path = ports.path(port).to_path_buf();
    let mut host = serial_on(&path);
    host.send(b"hello").unwrap();
    assert!(settings(&mut ports).fits());
    drop(host);
    gone(&mut ports);

    // A program that sets nothing does not inherit what the one before has set.
    let terminal = open_raw(&path);
    assert!(!settings(&mut ports).fits());
    // 9600 bit/s, two stop bits, line mode with echo, and octets as a sign of life.
    // SAFETY: plain numbers; the descriptor is open.
    unsafe {
        let mut t: libc::termios = std::mem::zeroed();
        assert_eq!(libc::tcgetattr(terminal.as_raw_fd(), &raw mut t), 0);
        assert_eq!(libc::cfsetspeed(&raw mut t, libc::B9600), 0);
        t.c_cflag |= libc::CSTOPB;
        t.c_lflag |= libc::ICANON;
        assert_eq!(libc::tcsetattr(terminal.as_raw_fd(), libc::TCSANOW, &raw const t), 0);
    }
    (&terminal).write_all(b"x").unwrap();
    let found = settings(&mut ports);
    assert_eq!(found.speed_bit_s, Some(9600));
    assert!(found.two_stop_bits && found.text_mode && !found.flow_control, "{found:?}");
    let text = found.to_string();
    assert!(text.contains("9600 bit/s instead of 1200") && text.contains("2 stop bits"), "{text}");
}
