//! A broker: how it lets one in, and which of its topics are taken.

use inkdwell_config::shop::MqttTopic;
use inkdwell_daemon::source::mqtt::{Taken, Understanding};
use toml::Table;

use super::{Found, id_of, unlike};
use crate::probe::listen::declare::{self, place};
use crate::probe::listen::heard::Reading;
use crate::start::hear::Where;
use crate::start::plan::Wire;
use crate::start::questions::of_source;
use crate::start::state::{Question, State, Step};

/// How a broker is reached and read, and its channels.
pub(super) fn wire(state: &State, number: usize, host: &str) -> Result<(Wire, Vec<Found>), Step> {
    let mut broker = Table::new();
    broker.insert("kind".to_owned(), "mqtt".into());
    // It was checked when it was answered.
    let _ = place(&mut broker, "mqtt", host);
    login(state, number, &mut broker)?;
    let filter = state.answer(Question {
        usual: Some("#".to_owned()),
        quiet: Some("#".to_owned()),
        example: "#".to_owned(),
        check: Box::new(filter),
        ..of_source(
            number,
            "filter",
            "--topic FILTER",
            "topics",
            "Which topics are to be listened to?",
            "A filter as MQTT has them: + stands for one level, # for all below. # alone is everything; shop/dryer/# is less to \
             look through.",
        )
    })?;
    let mut listened = broker.clone();
    let mut topic = Table::new();
    topic.insert("filter".to_owned(), filter.clone().into());
    topic.insert("channel".to_owned(), "heard".into());
    listened.insert("topic".to_owned(), toml::Value::Array(vec![topic.into()]));
    let Some(heard) = state.findings.broker(&listened) else {
        return Err(Step::Hear(Where::Broker(listened)));
    };
    let mut topics: Vec<MqttTopic> = Vec::new();
    let mut found: Vec<Found> = Vec::new();
    for (name, said) in &heard.topics {
        for mut declared in said.declarations.iter().cloned() {
            let taken = |name: &str| found.iter().any(|own| own.name == name);
            declared.channel = unlike(&id_of(&declared.channel), taken);
            found.push(Found {
                last: value_of(&declared, name, &said.payload),
                name: declared.channel.clone(),
                says_unit: false,
            });
            topics.push(declared);
        }
    }
    if found.is_empty() {
        return Err(Step::Ask(Box::new(again(
            number,
            heard.trouble.as_deref(),
            &filter,
        ))));
    }
    Ok((Wire::Mqtt { broker, topics }, found))
}

/// Nothing was heard that could be read: the only way on is to hear again, or to go back.
fn again(number: usize, trouble: Option<&str>, filter: &str) -> Question {
    let why = match trouble {
        Some(trouble) => trouble.to_owned(),
        None => format!(
            "nothing with a number in it was heard under {filter}; see that the devices publish, and that this user may read it"
        ),
    };
    Question {
        usual: Some(AGAIN.to_owned()),
        wrong: Some(why),
        check: Box::new(|_| {
            Err("go back with < and correct what is wrong, or listen again".to_owned())
        }),
        ..of_source(
            number,
            "again",
            "--broker HOST",
            "again",
            "Enter listens again; < goes back, to correct what stands before.",
            "The broker has to let us in, and devices have to publish while it is listened to.",
        )
    }
}

/// What asks for listening anew.
pub(in crate::start) const AGAIN: &str = "again";

fn login(state: &State, number: usize, broker: &mut Table) -> Result<(), Step> {
    let user = state.answer(Question {
        usual: Some("none".to_owned()),
        quiet: Some("none".to_owned()),
        example: "none".to_owned(),
        ..of_source(
            number,
            "user",
            "--user NAME",
            "user",
            "As which user does it let one in?",
            "none where the broker asks for nobody's name.",
        )
    })?;
    if user != "none" {
        broker.insert("user".to_owned(), user.into());
        let file = state.answer(Question {
            example: "/dev/null".to_owned(),
            check: Box::new(password_file),
            ..of_source(
                number,
                "password",
                "--password-file FILE",
                "password in",
                "In which file is the password? Its first line is taken.",
                "The password itself never stands in the shop file. Write it into a file that only the daemon's user may read \
                 (chmod 600), and name the file by its whole path.",
            )
        })?;
        broker.insert("password_file".to_owned(), file.into());
    }
    let tls = state.answer(Question {
        usual: Some("no".to_owned()),
        quiet: Some("no".to_owned()),
        example: "no".to_owned(),
        check: Box::new(tls),
        ..of_source(
            number,
            "tls",
            "--tls or --tls-roots FILE",
            "TLS",
            "Does it speak TLS? no, yes, or the file with the certificate that signed its own",
            "yes trusts what this machine trusts. Without TLS, user, password and readings go over the network as they are.",
        )
    })?;
    match tls.as_str() {
        "no" => {}
        "yes" => {
            broker.insert("tls".to_owned(), true.into());
        }
        file => {
            broker.insert("tls_roots".to_owned(), file.into());
        }
    }
    if let Some(version) = state.answers.get("version") {
        broker.insert("version".to_owned(), version.clone().into());
    }
    Ok(())
}

fn password_file(text: &str) -> Result<String, String> {
    let read = std::fs::read_to_string(text)
        .map_err(|error| format!("{text} cannot be read ({error}); write the file's whole path"))?;
    match read.lines().next().is_some_and(|line| !line.is_empty()) {
        true => absolute(text),
        false => Err(format!(
            "the first line of {text} is empty; write the password there"
        )),
    }
}

fn tls(text: &str) -> Result<String, String> {
    match text.to_lowercase().as_str() {
        "no" | "n" => Ok("no".to_owned()),
        "yes" | "y" => Ok("yes".to_owned()),
        _ if std::path::Path::new(text).is_file() => absolute(text),
        _ => Err(format!(
            "{text} is no file; write no, yes, or a file's whole path"
        )),
    }
}

/// The daemon may be started in another folder.
fn absolute(path: &str) -> Result<String, String> {
    let whole = std::path::absolute(path).map_err(|error| error.to_string())?;
    Ok(whole.to_string_lossy().into_owned())
}

fn filter(text: &str) -> Result<String, String> {
    let mut source = Table::new();
    source.insert("kind".to_owned(), "mqtt".into());
    source.insert("host".to_owned(), "127.0.0.1".into());
    let mut topic = Table::new();
    topic.insert("filter".to_owned(), text.into());
    topic.insert("channel".to_owned(), "heard".into());
    source.insert("topic".to_owned(), toml::Value::Array(vec![topic.into()]));
    let read = declare::read(source);
    read.map(|_| text.to_owned())
        .map_err(|failure| failure.to_string())
}

/// What a payload says by a declaration.
fn value_of(declared: &MqttTopic, topic: &str, payload: &[u8]) -> Option<Reading> {
    let mut reading = None;
    let mut understanding = Understanding::new([declared.clone()].into());
    understanding.of(topic.as_bytes(), payload, false, |taken| {
        if let Taken::Said(said) = taken {
            reading = Some(Reading::of(said, None));
        }
    });
    reading
}
