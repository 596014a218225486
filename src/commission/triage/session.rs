//! What was seen so far, what is likely, what to look at next [TG-01].

mod looks;

use super::belief::{Belief, Evidence};
use super::knowledge::{Check, Knowledge, LEVELS, Seen};
use super::record::{Verdict, Weighed};
use super::which_valve::{AT_ANOTHER_ADDRESS, Which, WhichValve};
use serde::{Deserialize, Serialize};

/// How near the best a check must come so that the order of the trade decides between them [TG-05].
const TIE: f64 = 0.95;
/// Evidence that speaks with less than this for or against a cause is not told, bit (own choice).
const TOLD_BITS: f64 = 0.3;
/// A cause that is less likely than this is not called likely: there it is told that nothing stands out [TG-05].
const LIKELY: f64 = 0.5;
/// Where all is as usual, nothing found is told of what is so many times as likely as any cause that could be seen [TG-42].
const BY_FAR: f64 = 4.0;

/// Where something seen comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Origin {
    /// Read over the bus.
    Bus,
    /// Read over the bus while the valve stroked.
    Stroke,
    /// Told by a recording of the signal.
    Recording,
    /// Seen by a person.
    Person,
    /// Somebody has written it as told by a bus, and none was there.
    Told,
}

/// Symptoms that a recording of the signal tells, and nothing else.
const OF_A_RECORDING: [&str; 4] = ["signal_level", "signal_noise", "wave_talk", "two_at_once"];

impl Origin {
    /// All.
    pub const ALL: [Origin; 5] =
        [Origin::Bus, Origin::Stroke, Origin::Recording, Origin::Person, Origin::Told];

    /// The name in files.
    pub const fn key(self) -> &'static str {
        match self {
            Origin::Bus => "bus",
            Origin::Stroke => "stroke",
            Origin::Recording => "recording",
            Origin::Person => "person",
            Origin::Told => "told",
        }
    }

    /// By its name.
    pub fn from_key(key: &str) -> Option<Origin> {
        Origin::ALL.into_iter().find(|o| o.key() == key)
    }

    /// For people.
    pub const fn words(self) -> &'static str {
        match self {
            Origin::Bus => "over the bus",
            Origin::Stroke => "over the bus, in strokes",
            Origin::Recording => "in the waveform",
            Origin::Person => "seen at the valve",
            Origin::Told => "as somebody has told it",
        }
    }

    /// What a record of the first format, which had bus, stroke and person alone, means by it [TG-32].
    pub(super) fn of_the_first_format(self, symptom: &str, has_line: bool) -> Origin {
        match self {
            Origin::Bus | Origin::Stroke if OF_A_RECORDING.contains(&symptom) => Origin::Recording,
            Origin::Bus | Origin::Stroke if !has_line => Origin::Told,
            other => other,
        }
    }
}

/// What was seen of a symptom.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Finding {
    /// The symptom's name.
    pub symptom: String,
    /// The name of the value.
    pub value: String,
    /// Where it comes from.
    pub from: Origin,
    /// What exactly was seen, a sentence without a point: "the device reads 8.40 mA, 12.00 mA were set". May be empty.
    #[serde(default)]
    pub words: String,
}

impl Finding {
    /// In words: its own, or else its names.
    pub fn told(&self) -> String {
        match self.words.is_empty() {
            true => format!("{}: {}", self.symptom.replace('_', " "), self.value.replace('_', " ")),
            false => self.words.clone(),
        }
    }
}

/// A cause, or that nothing is wrong, and how likely it is.
#[derive(Clone, Debug, PartialEq)]
pub struct Rank {
    /// The cause by its place in the knowledge; `None`: nothing is wrong.
    pub cause: Option<usize>,
    /// How likely, 0 to 1. Of causes that cannot be told apart each has its own share.
    pub share: f64,
    /// The same of its whole class.
    pub class_share: f64,
}

/// From here on what is mended in a workshop is likely enough, all of it together, for a check there [TG-05].
const WORTH_A_WORKSHOP: f64 = 0.2;

/// A look on site that takes more is not asked before a workshop has it, minutes [TG-26].
const CHEAP_MIN: f64 = 5.0;
/// A cause that shows something at any level with this likelihood may be what is seen; a check that it shows itself at with the second
/// decides on it (own choice).
const SHOWS_TOO: f64 = 0.2;
const DECIDES: f64 = 0.8;

/// Somebody answers where the one looked for should not be.
fn is_elsewhere(finding: &Finding) -> bool {
    finding.symptom == "answers" && finding.value == "elsewhere"
}

/// What to look at next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Next {
    /// The symptom by its place in the knowledge.
    pub symptom: usize,
    /// What it is expected to tell, bit.
    pub bits: f64,
    /// What it takes, minutes.
    pub effort_min: f64,
    /// It was looked at before, and nothing explains what was seen [TG-41].
    pub again: bool,
}

/// A session of fault finding.
#[derive(Clone, Debug)]
pub struct Session<'k> {
    knowledge: &'k Knowledge,
    findings: Vec<(Finding, Option<Evidence>)>,
    /// Where a check was asked for once more and answered: what was answered first, if that was something else [TG-41].
    first_answers: Vec<(usize, Option<Evidence>)>,
    /// Symptoms that were asked for once more.
    asked_again: Vec<usize>,
    /// Symptoms that were asked for and are not known.
    unknown: Vec<usize>,
    /// How many checks were asked for, each once.
    asked: usize,
    /// Whether what the bus would tell may be asked of a person.
    without_line: bool,
    /// Who answers where that is not surely the valve looked for.
    which_valve: Option<WhichValve>,
}

impl<'k> Session<'k> {
    /// A session in which nothing was seen yet. Without a line what the bus would tell is asked of the person, where it can be.
    pub fn new(knowledge: &'k Knowledge, without_line: bool) -> Session<'k> {
        let (findings, unknown) = (Vec::new(), Vec::new());
        let (first_answers, asked_again) = (Vec::new(), Vec::new());
        Session {
            knowledge,
            findings,
            first_answers,
            asked_again,
            unknown,
            asked: 0,
            without_line,
            which_valve: None,
        }
    }

    /// What it knows by.
    pub fn knowledge(&self) -> &'k Knowledge {
        self.knowledge
    }

    /// Whether what the bus would tell is asked of the person.
    pub fn is_without_line(&self) -> bool {
        self.without_line
    }

    /// Takes something seen. What the knowledge has no symptom or no value for is kept and changes no belief; of the same
    /// symptom the last counts. Gives whether it was taken into account.
    pub fn add(&mut self, finding: Finding) -> bool {
        let evidence = self.knowledge.symptom(&finding.symptom).and_then(|symptom| {
            let value = self.knowledge.symptoms[symptom].value(&finding.value)?;
            Some(Evidence { symptom, value, by_person: finding.from == Origin::Person })
        });
        if self.which_valve.is_none()
            && matches!(finding.from, Origin::Person | Origin::Told)
            && is_elsewhere(&finding)
        {
            self.which_valve = Some(WhichValve::new(AT_ANOTHER_ADDRESS));
        }
        self.findings.retain(|(f, _)| f.symptom != finding.symptom);
        self.findings.push((finding, evidence));
        evidence.is_some()
    }

    /// It is not sure that who answers, told in a sentence without a point, is the valve that is looked for: nothing that moves a valve
    /// is proposed until [`Session::which`] says so [TG-31].
    pub fn unsure(&mut self, who: impl Into<String>) {
        self.which_valve = Some(WhichValve::new(who));
    }

    /// The person has said which valve answers. Where that is another one, the one looked for is silent.
    pub fn which(&mut self, which: Which) {
        if let Some(of) = &mut self.which_valve {
            of.answer = Some(which);
        }
        let elsewhere = self.findings().find(|f| is_elsewhere(f)).map(|f| f.from);
        if let (Which::Another, Some(from)) = (which, elsewhere) {
            for (symptom, value, words) in [
                ("answers", "silent", "the one that is looked for does not answer, another valve does"),
                ("others_answer", "present", "another valve answers on the same wires"),
            ] {
                let (symptom, value, words) = (symptom.into(), value.into(), words.into());
                self.add(Finding { symptom, value, from, words });
            }
        }
    }

    /// Who answers where that is not surely the valve that is looked for, and what the person has said of it [TG-31].
    pub fn which_valve(&self) -> Option<&WhichValve> {
        self.which_valve.as_ref()
    }

    /// Whether it is not sure which valve answers, and nobody has said so.
    pub fn is_unsure(&self) -> bool {
        self.which_valve.as_ref().is_some_and(|w| w.answer.is_none())
    }

    /// What a person answered to a check, by the name of a value; `None`: not known. A check that was asked for once more has two
    /// answers, which count both where they differ, and what was said last is what was seen; not to know it then leaves the first [TG-41].
    pub(super) fn answer(&mut self, next: Next, value: Option<&str>) {
        let symptom = &self.knowledge.symptoms[next.symptom];
        match next.again {
            true => self.asked_again.push(next.symptom),
            // A question that nobody answered, for somebody ended the session, is none.
            false => self.asked += 1,
        }
        let words = |name: &str| symptom.value(name).map_or("", |v| symptom.values[v].words.as_str());
        let Some(value) = value else {
            if !next.again {
                self.not_known(next.symptom);
            }
            return;
        };
        let mut told = format!("{}: {}", symptom.words, words(value));
        let first = self.findings.iter().find(|(f, _)| next.again && f.symptom == symptom.name);
        if let Some((first, evidence)) = first {
            told = match first.value == value {
                true => format!("{told} (twice)"),
                false => format!("{told} (at first: {})", words(&first.value)),
            };
            // Who says the same twice may have made the same mistake twice: it counts once.
            let other = evidence.filter(|_| first.value != value);
            self.first_answers.push((next.symptom, other));
        }
        let (symptom, value) = (symptom.name.clone(), value.to_owned());
        self.add(Finding { symptom, value, from: Origin::Person, words: told });
    }

    /// A symptom was asked for, and the person could not say.
    pub fn not_known(&mut self, symptom: usize) {
        self.unknown.push(symptom);
    }

    /// All that was seen, in the order in which it came.
    pub fn findings(&self) -> impl Iterator<Item = &Finding> {
        self.findings.iter().map(|(f, _)| f)
    }

    fn belief(&self) -> Belief<'k> {
        let mut belief = Belief::new(self.knowledge);
        let first_answers = self.first_answers.iter().map(|(_, e)| e);
        let all = self.findings.iter().map(|(_, e)| e).chain(first_answers).flatten().copied();
        all.for_each(|e| belief.see(e));
        belief
    }

    /// All causes and "nothing is wrong", the likeliest first; causes of a class stand together.
    pub fn ranks(&self) -> Vec<Rank> {
        let (healthy, causes) = self.belief().of_causes();
        let class_share = |class: &str| -> f64 {
            let of = self.knowledge.causes.iter().zip(&causes);
            of.filter(|(c, _)| c.class == class).map(|(_, share)| share).sum()
        };
        let mut out = vec![Rank { cause: None, share: healthy, class_share: healthy }];
        for (i, share) in causes.iter().enumerate() {
            let class_share = class_share(&self.knowledge.causes[i].class);
            out.push(Rank { cause: Some(i), share: *share, class_share });
        }
        out.sort_by(|a, b| {
            b.class_share
                .total_cmp(&a.class_share)
                .then_with(|| self.class(a).cmp(self.class(b)))
                .then(b.share.total_cmp(&a.share))
        });
        out
    }

    /// The class of a rank; empty where nothing is wrong.
    pub fn class(&self, rank: &Rank) -> &'k str {
        rank.cause.map_or("", |c| &self.knowledge.causes[c].class)
    }

    /// What was seen that speaks for a cause and against it, the strongest first. What is as on a healthy valve speaks for none: it only
    /// speaks against others [TG-03].
    pub fn evidence(&self, cause: Option<usize>) -> (Vec<Weighed>, Vec<Weighed>) {
        let belief = self.belief();
        let mut all: Vec<Weighed> = self
            .findings
            .iter()
            .filter_map(|(finding, evidence)| {
                let now = (*evidence)?;
                let mut first = self.first_answers.iter().filter(|(s, _)| *s == now.symptom);
                let first = first.find_map(|(_, e)| *e).map_or(0.0, |e| belief.weight_of(cause, e));
                let bits = belief.weight_of(cause, now) + first;
                let is_usual = evidence.as_ref().is_some_and(|e| e.value == 0);
                let is_told = bits.abs() >= TOLD_BITS && !(is_usual && cause.is_some() && bits > 0.0);
                is_told.then(|| Weighed { finding: finding.clone(), bits })
            })
            .collect();
        all.sort_by(|a, b| b.bits.abs().total_cmp(&a.bits.abs()));
        all.into_iter().partition(|w| w.bits > 0.0)
    }

    /// Whether something was seen with which a check makes sense, or may yet be seen by the person [TG-44].
    fn makes_sense(&self, check: &Check) -> bool {
        let seen = |symptom: usize| {
            let mut all = self.findings.iter().filter_map(|(_, e)| *e);
            all.find(|e| e.symptom == symptom).map(|e| e.value)
        };
        let is_none_seen = check.needs.iter().all(|(s, _)| seen(*s).is_none());
        let fits = |(s, values): &(usize, Vec<usize>)| match seen(*s) {
            Some(value) => values.contains(&value),
            None => self.is_theirs(*s),
        };
        is_none_seen || check.needs.iter().any(fits)
    }

    /// Whether a symptom is one that a person is asked for here.
    fn is_theirs(&self, symptom: usize) -> bool {
        let of = &self.knowledge.symptoms[symptom];
        of.check.is_some() && (of.seen == Seen::Person || self.without_line)
    }

    /// Whether a symptom can be asked of the person now.
    fn can_be_asked(&self, symptom: usize) -> bool {
        let of = &self.knowledge.symptoms[symptom];
        let is_known = self.findings.iter().any(|(f, _)| f.symptom == of.name);
        let may = |c: &Check| (!c.moves || !self.is_unsure()) && self.makes_sense(c);
        self.is_theirs(symptom)
            && of.check.as_ref().is_some_and(may)
            && !is_known
            && !self.unknown.contains(&symptom)
    }

    fn told_by(&self, belief: &Belief<'_>, symptom: usize) -> Next {
        let effort_min = self.knowledge.symptoms[symptom].check.as_ref().map_or(1.0, |c| c.effort_min);
        Next { symptom, bits: belief.expected_bits(symptom), effort_min, again: false }
    }

    /// What a person saw once, and one answer is too little for: unusual while nothing is called wrong, or all that speaks for the first
    /// cause. The one that is soonest looked at again, of those of which this was not tried; of all, where `tried` [TG-41].
    fn doubtful(&self, tried: bool) -> Option<Next> {
        // Nobody is asked twice whose answers are never wrong.
        if self.knowledge.wrong_answers == 0.0 {
            return None;
        }
        let first = self.ranks().first()?.cause;
        let unusual = self.findings.iter().filter_map(|(f, e)| Some((f, (*e)?))).filter(|(_, e)| e.value > 0);
        let decides: Vec<Evidence> = match first {
            None => unusual.map(|(_, e)| e).filter(|e| e.by_person).collect(),
            Some(_) => {
                let (speaks_for, _) = self.evidence(first);
                let of: Vec<Evidence> = unusual
                    .filter(|(f, _)| speaks_for.iter().any(|w| w.finding == **f))
                    .map(|(_, e)| e)
                    .collect();
                of.into_iter().filter(|e| e.by_person && speaks_for.len() == 1).collect()
            }
        };
        let belief = self.belief();
        let is_open = |e: &Evidence| {
            let check = self.knowledge.symptoms[e.symptom].check.as_ref();
            let is_tried = self.asked_again.contains(&e.symptom);
            let may = |c: &Check| !c.workshop && (!c.moves || !self.is_unsure());
            check.is_some_and(may) && !self.is_seen_twice(e.symptom) && (tried || !is_tried)
        };
        let all = decides.into_iter().filter(is_open);
        let all = all.map(|e| Next { again: true, ..self.told_by(&belief, e.symptom) });
        all.min_by(|a, b| a.effort_min.total_cmp(&b.effort_min).then(a.symptom.cmp(&b.symptom)))
    }

    /// It was asked for once more, and answered.
    fn is_seen_twice(&self, symptom: usize) -> bool {
        self.first_answers.iter().any(|(s, _)| *s == symptom)
    }

    /// What is proposed to whoever goes on from here: what was seen once and nothing explains, once more, or else the best check.
    pub fn proposed(&self) -> Option<Next> {
        self.doubtful(true).or_else(|| self.best_or_look())
    }

    /// What looking at a symptom now would be expected to tell.
    #[cfg(feature = "bench-file")]
    pub(super) fn would_tell(&self, symptom: usize) -> Next {
        self.told_by(&self.belief(), symptom)
    }

    /// The check that tells most for its effort, whether or not enough is known: what the person would do next. `None`: no
    /// check is left that would tell anything.
    pub fn best(&self) -> Option<Next> {
        let belief = self.belief();
        let rate = |n: &Next| n.bits / n.effort_min;
        let all: Vec<Next> = (0..self.knowledge.symptoms.len())
            .filter(|&s| self.can_be_asked(s))
            .map(|symptom| self.told_by(&belief, symptom))
            .filter(|n| n.bits >= self.knowledge.least_bits)
            .collect();
        // Nothing is taken to the workshop as long as a look on site would tell anything, nor for what would not be mended there.
        let is_of_the_workshop =
            |n: &Next| self.knowledge.symptoms[n.symptom].check.as_ref().is_some_and(|c| c.workshop);
        let on_site: Vec<Next> = all.iter().copied().filter(|n| !is_of_the_workshop(n)).collect();
        let (_, causes) = belief.of_causes();
        let in_workshop: f64 = self
            .knowledge
            .causes
            .iter()
            .zip(causes)
            .filter(|(c, _)| c.workshop)
            .map(|(_, share)| share)
            .sum();
        let is_workshop_next = on_site.is_empty() && in_workshop >= WORTH_A_WORKSHOP;
        let before = if is_workshop_next { self.before_the_workshop(&belief) } else { Vec::new() };
        let all = match (is_workshop_next, before.is_empty()) {
            (true, true) => all,
            (true, false) => before,
            (false, _) => on_site,
        };
        let most = all.iter().map(rate).fold(0.0, f64::max);
        let group = |n: &Next| self.knowledge.symptoms[n.symptom].check.as_ref().map(|c| c.group);
        // The first of the trade's order among those that are as good as equal, and of these the best.
        all.into_iter().filter(|n| rate(n) >= TIE * most).min_by(|a, b| {
            group(a).cmp(&group(b)).then(rate(b).total_cmp(&rate(a))).then(a.symptom.cmp(&b.symptom))
        })
    }

    /// What was seen, stands in the way of all else, and what is to be done about it [TG-28]: the symptom by its place.
    pub fn first_of_all(&self) -> Option<(usize, &'k str)> {
        let of_the_bus = self.findings.iter().filter_map(|(_, e)| *e).filter(|e| !e.by_person);
        let mut all = of_the_bus.filter_map(|e| {
            let todo = self.knowledge.symptoms[e.symptom].values[e.value].first_of_all.as_deref()?;
            Some((e.symptom, todo))
        });
        all.next()
    }

    /// Cheap looks on site at causes that are mended there and would show what the valve shows, too: before a workshop has it [TG-26].
    fn before_the_workshop(&self, belief: &Belief<'_>) -> Vec<Next> {
        let knowledge = self.knowledge;
        let shows = |cause: usize, symptom: usize, is: &dyn Fn(usize) -> bool| -> f64 {
            let values = 0..knowledge.symptoms[symptom].values.len();
            let of = |level| {
                let p = |v| knowledge.likelihood(Some(cause), level, symptom, v);
                values.clone().filter(|v| is(*v)).map(p).sum::<f64>()
            };
            (0..LEVELS).map(of).fold(0.0, f64::max)
        };
        let unusual: Vec<Evidence> =
            self.findings.iter().filter_map(|(_, e)| *e).filter(|e| e.value > 0).collect();
        let shares_it = |cause: usize| {
            let shown = unusual.iter().filter(|e| shows(cause, e.symptom, &|v| v == e.value) >= SHOWS_TOO);
            !unusual.is_empty() && 2 * shown.count() >= unusual.len()
        };
        let on_site: Vec<usize> =
            (0..knowledge.causes.len()).filter(|&c| !knowledge.causes[c].workshop && shares_it(c)).collect();
        (0..knowledge.symptoms.len())
            .filter(|&s| self.can_be_asked(s))
            .filter(|&s| {
                let check = knowledge.symptoms[s].check.as_ref();
                check.is_some_and(|c| !c.workshop && c.effort_min <= CHEAP_MIN)
            })
            .filter(|&s| on_site.iter().any(|&c| shows(c, s, &|v| v > 0) >= DECIDES))
            .map(|symptom| self.told_by(belief, symptom))
            .collect()
    }

    /// What to ask next; `None`: enough is known, nothing would tell more, or enough was asked. In the end what a person saw and nothing
    /// explains is asked for once more [TG-41].
    pub fn next(&self) -> Option<Next> {
        if self.first_of_all().is_some() {
            return None;
        }
        let first = self.ranks().first().map_or(1.0, |r| r.class_share);
        let best = match (self.asked >= self.knowledge.most_questions, first >= self.knowledge.sure) {
            (true, _) => None,
            (false, true) => self.look_first(),
            (false, false) => self.best().or_else(|| self.look_first()),
        };
        best.or_else(|| self.doubtful(false))
    }

    /// What was seen that is not as on a healthy valve: as long as nothing is called wrong, nothing explains it.
    pub fn unexplained(&self) -> impl Iterator<Item = &Finding> {
        let unusual = |e: &Evidence| e.value > 0;
        self.findings.iter().filter(move |(_, e)| e.as_ref().is_some_and(unusual)).map(|(f, _)| f)
    }

    /// Symptoms that were asked for and are not known, by their places in the knowledge.
    pub fn not_looked_at(&self) -> &[usize] {
        &self.unknown
    }

    /// Causes that nothing could show here: all that they show is told by a bus, it was not read, and no check asks a person for it [TG-42].
    /// By their places in the knowledge.
    pub fn out_of_sight(&self) -> Vec<usize> {
        let knowledge = self.knowledge;
        let can_be_seen = |s: usize| {
            self.is_theirs(s) || self.findings.iter().any(|(f, _)| f.symptom == knowledge.symptoms[s].name)
        };
        let shows = |table: &[[f64; LEVELS]]| table.iter().skip(1).flatten().any(|p| *p >= SHOWS_TOO);
        let is_hidden = |c: usize| {
            let mut of = knowledge.causes[c].expects.iter();
            of.all(|(s, table)| !shows(table) || !can_be_seen(*s))
        };
        (0..knowledge.causes.len()).filter(|&c| is_hidden(c)).collect()
    }

    /// Nothing is wrong, by far the likeliest of what could be seen here, and nothing is left to be asked [TG-42].
    fn is_healthy_by_far(&self, ranks: &[Rank]) -> bool {
        let hidden = self.out_of_sight();
        let mut others = ranks.iter().skip(1).filter(|r| r.cause.is_none_or(|c| !hidden.contains(&c)));
        let healthy = ranks.first().map_or(0.0, |r| r.share);
        others.next().is_none_or(|r| healthy >= BY_FAR * r.class_share) && self.next().is_none()
    }

    /// Of what a person was asked for, most is not known [TG-29].
    fn is_hardly_looked_at(&self) -> bool {
        let answered = self.findings().filter(|f| f.from == Origin::Person).count();
        self.unknown.len() > answered
    }

    /// What was seen and counts for nothing, because the knowledge has no name for it: whether it has the symptom at least, and
    /// only the value is missing.
    pub fn nameless(&self) -> impl Iterator<Item = (&Finding, bool)> {
        let nameless = self.findings.iter().filter(|(_, evidence)| evidence.is_none());
        nameless.map(|(f, _)| (f, self.knowledge.symptom(&f.symptom).is_some()))
    }

    /// What follows from all that was seen. Nothing found is told only where nothing unusual was seen [TG-41], and nothing of a
    /// symptom that the knowledge has, but no value like this [TG-21].
    pub fn verdict(&self) -> Verdict {
        let ranks = self.ranks();
        let Some(first) = ranks.first() else { return Verdict::Unclear };
        if self.is_unsure() {
            return Verdict::Unclear;
        }
        let is_all_named = self.nameless().all(|(_, has_symptom)| !has_symptom);
        let is_all_usual = self.unexplained().next().is_none() && is_all_named;
        match first.cause {
            None if is_all_usual
                && !self.is_hardly_looked_at()
                && (first.share >= LIKELY || self.is_healthy_by_far(&ranks)) =>
            {
                Verdict::NothingFound
            }
            // Whoever has looked at it says that it is not so.
            Some(_) if self.denied().is_some() => Verdict::Unclear,
            Some(c) if first.class_share >= LIKELY => {
                if self.knowledge.causes[c].workshop {
                    let is_sure = first.class_share >= self.knowledge.sure;
                    // Nothing goes to the workshop before the cheap looks on site were asked for.
                    let is_looked_at = is_sure || self.before_the_workshop(&self.belief()).is_empty();
                    match is_looked_at && self.look_first().is_none() {
                        true => Verdict::Workshop,
                        false => Verdict::Unclear,
                    }
                } else {
                    Verdict::Likely
                }
            }
            _ => Verdict::Unclear,
        }
    }
}
