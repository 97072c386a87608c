//! The board in a real browser, before a running simulated shop: each page, what appears on it by itself, and
//! everything that a person does there.

mod browser;

use browser::access::Access;
use browser::driver::{self, Browser, wait};
use browser::relay::Relay;
use browser::shop::House;
use serde_json::json;

/// A name that would be a script, were it not escaped, and its quotation marks.
const JOB: &str = "<script>window.broken = 1</script> \"Harbour\" & 'choir' <img src=x onerror=\"window.broken = 1\">";

struct Visit {
    browser: Browser,
    relay: Relay,
    access: Access,
    house: House,
}

impl Visit {
    fn begin() -> Visit {
        let relay = Relay::start();
        let house = House::new(&[relay.address.to_string()]);
        relay.leads_to(house.address());
        Visit {
            browser: Browser::start(),
            relay,
            access: Access::new(),
            house,
        }
    }

    fn open(&self, path: &str) {
        self.browser
            .open(&format!("http://{}{path}", self.relay.address));
    }

    fn log_in(&self) {
        self.open("/login?next=/batches");
        self.browser
            .find("input[name=token]")
            .types(&self.house.token());
        self.browser.find("main button").press();
        self.browser.wait_for("h1", "Batches");
    }

    fn open_batch(&self, job: &str, prints: &str) {
        self.open("/batches");
        self.browser.find("details.sheet summary").press();
        self.browser.find("input[name=job]").types(job);
        self.browser.find("input[name=quantity]").types(prints);
        let by = self
            .browser
            .find("form[action='/do/open-batch'] input[name=by]");
        by.clear();
        by.types("Mara");
        self.browser
            .find("form[action='/do/open-batch'] button")
            .press();
        self.browser.wait_for("h1", "Batch ");
    }

    /// Every page, at every size, light and dark: nobody is left out, and nothing sticks out.
    fn look_at(&self, pages: &[(&str, &str)]) {
        let folder = driver::pictures();
        for (path, name) in pages {
            for (size, width, height) in [
                ("phone", 360, 740),
                ("tablet", 1180, 820),
                ("wall", 1920, 1080),
            ] {
                for scheme in ["light", "dark"] {
                    self.browser.size(width, height);
                    self.browser.prefers(scheme, "no-preference");
                    self.open(path);
                    self.access
                        .check(&self.browser, &format!("{name}, {size}, {scheme}"));
                    let over = self.browser.run(
                        "return document.documentElement.scrollWidth - document.documentElement.clientWidth;",
                    );
                    assert_eq!(over, json!(0), "{name} sticks out on a {size}");
                    self.browser
                        .picture(&folder.join(format!("{name}-{size}-{scheme}.png")));
                }
            }
        }
        self.browser.size(1180, 820);
    }
}

#[test]
fn a_shift_before_the_board() {
    if !driver::is_here() {
        return;
    }
    let visit = Visit::begin();
    let browser = &visit.browser;
    before_anything(&visit);
    logging_in(&visit);
    a_batch_with_an_evil_name(&visit);

    visit.open("/");
    browser.wait_for(".state", "Waiting");
    browser.find("#sound").press();
    browser.wait_for("#sound", "Sound is on");
    visit.house.switch_on();
    a_print_goes_through(&visit);
    the_heater_sags(&visit);
    the_wire_is_cut(&visit);
    an_alarm_is_seen_and_put_aside(&visit);
    nothing_moves_for_whoever_wants_it_still(&visit);
    visit.look_at(&[
        ("/", "live"),
        ("/alarms", "alarms"),
        ("/holds", "holds"),
        ("/prints/1", "print"),
    ]);
    a_hold_is_settled_by_keys_alone(&visit);
    a_recipe_is_tuned_for_and_locked(&visit);
    the_batch_is_closed(&visit);
    let day = a_report_is_taken_along(&visit);
    a_batch_is_opened_by_keys_alone(&visit);
    visit.look_at(&[
        ("/batches", "batches"),
        ("/batches/1", "batch"),
        ("/recipes", "recipes"),
        ("/tune", "tune"),
        ("/reports", "reports"),
        (&day, "report"),
        ("/login", "login"),
    ]);
    assert_eq!(
        browser.run("return window.broken === undefined;"),
        json!(true)
    );
    // What was refused on purpose, and the wire that was cut.
    let expected = |told: &&String| ["/live", "401", "404"].iter().any(|own| told.contains(own));
    how_soon_it_is_painted(&visit);
    let complaints = browser.complaints();
    let own = complaints.iter().filter(|told| !expected(told));
    assert_eq!(own.collect::<Vec<_>>(), Vec::<&String>::new());
}

fn before_anything(visit: &Visit) {
    visit.open("/");
    visit.browser.wait_for(".state", "No batch");
    assert!(visit.browser.text("footer").contains("no safety device"));
    for (path, heading) in [
        ("/alarms", "Alarms"),
        ("/batches", "Batches"),
        ("/holds", "Holds"),
        ("/recipes", "Recipes"),
        ("/tune", "Tune"),
        ("/reports", "Reports"),
    ] {
        visit.open(path);
        assert_eq!(visit.browser.text("h1"), heading);
        visit.access.check(&visit.browser, path);
        let forms = visit
            .browser
            .run("return document.querySelectorAll('main form[method=post]').length;");
        assert_eq!(
            forms,
            json!(0),
            "nobody has logged in, and {path} offers to change something"
        );
    }
    visit.open("/prints/99");
    assert!(visit.browser.text("main").contains("there is no print 99"));
}

fn logging_in(visit: &Visit) {
    let browser = &visit.browser;
    visit.open("/login?next=/batches");
    browser.find("input[name=token]").types("guessed");
    browser.find("main button").press();
    browser.wait_for("[role=alert]", "This is not the token");
    visit.log_in();
    assert_eq!(
        browser.run("return document.cookie;"),
        json!(""),
        "no script reads the token"
    );
}

fn a_batch_with_an_evil_name(visit: &Visit) {
    visit.open_batch(JOB, "9");
    assert_eq!(visit.browser.text("h1"), format!("Batch 1: {JOB}"));
    for path in ["/", "/batches", "/batches/1"] {
        visit.open(path);
        let told = visit.browser.run(
            "return [window.broken === undefined, document.querySelectorAll('main img, main script').length];",
        );
        assert_eq!(told, json!([true, 0]), "{path}");
    }
}

fn a_print_goes_through(visit: &Visit) {
    let browser = &visit.browser;
    browser.wait_for(".in-heat", "A print is in the heat");
    // The curve grows by itself.
    let points = || {
        let count = "return document.querySelector('.in-heat .film')?.points.length || 0;";
        browser.run(count).as_u64().unwrap_or(0)
    };
    let before = points();
    wait("a longer curve", || (points() > before + 10).then_some(()));
    let drawn = browser.run("return document.querySelector('.in-heat svg').textContent;");
    let drawn = drawn.as_str().unwrap_or_default();
    assert!(
        drawn.contains("threshold 160 °C") && drawn.contains("scorch"),
        "{drawn}"
    );
    // (A pass shorter than ten seconds is none, so that nothing is said of it before.)
    browser.wait_for(".in-heat .doses", "cure");
    browser.wait_for(".state", "Good");
    let out = browser.wait_for(".is-out", "Print 1");
    assert!(out.contains("cured") && out.contains("measured"), "{out}");
    assert!(browser.text(".counts").contains("1 of 9"));
}

fn the_heater_sags(visit: &Visit) {
    let browser = &visit.browser;
    browser.wait_for(".state", "Under-cured");
    let todo = browser.wait_for(".to-do", "Pull print");
    assert!(todo.contains("through the heat once more"), "{todo}");
    let holds = browser.text("#nav-holds");
    assert!(holds.contains("open"), "{holds}");
    wait("a sound", || {
        browser
            .run("return document.body.dataset.called >= 1;")
            .as_bool()?
            .then_some(())
    });
}

fn the_wire_is_cut(visit: &Visit) {
    let browser = &visit.browser;
    let prints = || browser.text(".counts");
    visit.relay.cut();
    browser.wait_for("#lost", "The daemon is not heard");
    let then = prints();
    let passes = || {
        let reader = visit.house.shift().readers().reader().expect("a reader");
        reader.head().expect("the chain's head").number.0
    };
    let before = passes();
    wait("a verdict behind the cut", || {
        (passes() > before + 1).then_some(())
    });
    assert_eq!(prints(), then, "nothing comes through a cut wire");
    visit.relay.join();
    wait("the board heard again", || {
        let is_lost = browser.run("return document.getElementById('lost').hidden;");
        (is_lost == json!(true)).then_some(())
    });
    wait("what came meanwhile", || (prints() != then).then_some(()));
}

/// A test alarm stands among what is to be done until it is seen; one of the dryer's until it is put aside.
fn an_alarm_is_seen_and_put_aside(visit: &Visit) {
    let browser = &visit.browser;
    let is_named = |css: &str| {
        let by = browser.find(css);
        by.clear();
        by.types("Mara");
    };
    let to_do = || {
        visit.open("/");
        browser.wait_for(".to-do", "Pull print");
        let count = "return document.querySelectorAll(\".to-do a[href='/alarms']\").length;";
        browser.run(count).as_u64().unwrap_or_default()
    };
    let before = to_do();
    assert!(before > 0, "the sagging heater has raised one");
    visit.open("/alarms");
    browser.find("main > details summary").press();
    browser
        .find("form[action='/do/drill'] input[name=why]")
        .types("the new horn is tried");
    is_named("form[action='/do/drill'] input[name=by]");
    browser.find("form[action='/do/drill'] button").press();
    let card = browser.wait_for("#alarm-drill", "nobody has said that they saw it");
    assert!(card.contains("the new horn is tried"), "{card}");
    assert_eq!(to_do(), before + 1);

    visit.open("/alarms");
    is_named("#alarm-drill form:has(input[value=acknowledge]) input[name=by]");
    browser
        .find("#alarm-drill form:has(input[value=acknowledge]) button")
        .press();
    wait("the end of the test alarm", || {
        browser.text("#alarm-drill").is_empty().then_some(())
    });
    assert_eq!(to_do(), before);

    visit.open("/alarms");
    // What has become of prints, verdicts and holds say.
    let id = browser
        .run("return document.querySelector(\"main article.card:not([id^='alarm-print-'])\").id;");
    let card = format!("[id='{}']", id.as_str().unwrap_or_default());
    let details = format!("{card} details");
    browser.find(&format!("{details} summary")).press();
    browser
        .find(&format!("{details} input[name=minutes]"))
        .types("45");
    browser
        .find(&format!("{details} input[name=why]"))
        .types("it is being mended");
    is_named(&format!("{details} input[name=by]"));
    browser.find(&format!("{details} button")).press();
    let aside = browser.wait_for(&card, "put aside");
    assert!(aside.contains("Mara: it is being mended"), "{aside}");
    visit.access.check(browser, "an alarm that is put aside");
    assert_eq!(to_do(), before - 1);
}

/// `prefers-reduced-motion`: no element has a transition or an animation, and nothing runs while the page is kept up to date.
fn nothing_moves_for_whoever_wants_it_still(visit: &Visit) {
    let browser = &visit.browser;
    let moving = || {
        browser.run(
            "return [...document.querySelectorAll('*')].filter((own) => { const style = getComputedStyle(own); \
             return style.transitionDuration.split(', ').some((time) => parseFloat(time) > 0) \
             || style.animationName !== 'none' || style.scrollBehavior === 'smooth'; }).map((own) => own.className);",
        )
    };
    visit.open("/");
    browser.prefers("light", "no-preference");
    assert_ne!(moving(), json!([]), "else nothing is shown by what follows");
    browser.prefers("light", "reduce");
    assert_eq!(moving(), json!([]));
    // Its colour changes, as with a verdict, and it does so at once.
    let still = browser.run(
        "document.querySelector('.say').className = 'say unproven'; \
         document.querySelector('.say').getBoundingClientRect(); \
         return [document.getAnimations().length, matchMedia('(prefers-reduced-motion: reduce)').matches];",
    );
    assert_eq!(still, json!([0, true]));
    browser.prefers("light", "no-preference");
}

const SPACE: &str = " ";
const ENTER: &str = "\u{e007}";
const DOWN: &str = "\u{e015}";

/// From the page's head on, with nothing but the tabulator, the space bar, letters and the enter key.
fn a_hold_is_settled_by_keys_alone(visit: &Visit) {
    let browser = &visit.browser;
    visit.open("/");
    browser.tab_to("nav a[href='/holds']");
    browser.keys(ENTER);
    browser.wait_for("h1", "Holds");
    let form = "form[action='/do/settle-hold']";
    browser.tab_to(&format!("{form} input[value=re-run]"));
    browser.keys(SPACE);
    browser.tab_to(&format!("{form} input[name=why]"));
    browser.keys("all are dry, none was on the heap");
    browser.tab_to(&format!("{form} input[name=by]"));
    // What the browser remembered is marked when it is reached, so that typing goes over it.
    browser.keys("Mara");
    browser.tab_to(&format!("{form} button"));
    browser.keys(ENTER);
    let main = browser.wait_for("main", "Settled: sent through once more");
    assert!(main.contains("Mara"), "{main}");
}

fn a_batch_is_opened_by_keys_alone(visit: &Visit) {
    let browser = &visit.browser;
    visit.open("/");
    // The first stop leads over the head.
    browser.tab_to(".skip");
    browser.tab_to("nav a[href='/batches']");
    browser.keys(ENTER);
    browser.wait_for("h1", "Batches");
    browser.tab_to("details.sheet summary");
    browser.keys(ENTER);
    let form = "form[action='/do/open-batch']";
    browser.tab_to(&format!("{form} input[name=job]"));
    browser.keys("Quay caps");
    browser.tab_to(&format!("{form} select[name=ink]"));
    let ink = || browser.run("return document.querySelector('select[name=ink]').value;");
    let first = ink();
    browser.keys(DOWN);
    wait("another ink", || (ink() != first).then_some(()));
    let chosen = ink();
    browser.tab_to(&format!("{form} input[name=quantity]"));
    browser.keys("24");
    browser.tab_to(&format!("{form} input[name=by]"));
    browser.keys("Jonas");
    browser.tab_to(&format!("{form} button"));
    browser.keys(ENTER);
    browser.wait_for("h1", "Quay caps");
    let main = browser.text("main");
    for words in [chosen.as_str().unwrap_or_default(), "24", "Jonas"] {
        assert!(main.contains(words), "{words}: {main}");
    }
}

/// The day's report, from the list to the files; the address of its page.
fn a_report_is_taken_along(visit: &Visit) -> String {
    let browser = &visit.browser;
    visit.open("/reports");
    browser.wait_for("main", "cured");
    let day = browser.run("return document.querySelector('main a').getAttribute('href');");
    let day = day.as_str().unwrap_or_default().to_owned();
    browser.find("main .row a").press();
    browser.wait_for("main", "proved good");
    let files = browser.run_until_called(
        "const done = arguments[arguments.length - 1]; \
         Promise.all([...document.querySelectorAll('.forms a[download]')].map(async (link) => { \
         const answer = await fetch(link.href); const text = await answer.text(); \
         return [answer.status, answer.headers.get('content-type'), text.slice(0, 5)]; })).then(done);",
    );
    let expected = json!([
        [200, "application/pdf", "%PDF-"],
        [200, "application/json", "{\n  \""]
    ]);
    assert_eq!(files, expected);
    browser.find(".forms .main").press();
    browser.wait_for("body", "Inkdwell");
    assert!(browser.address().ends_with(&format!("{day}/page")));
    // Its own style holds under its policy.
    let styled = browser.run("return getComputedStyle(document.querySelector('h1')).fontWeight;");
    let plain = browser.run(
        "const own = document.styleSheets; return own.length === 1 && own[0].cssRules.length > 5;",
    );
    assert_eq!(plain, json!(true), "{styled}");
    day
}

/// What the browser itself says of how soon something stands on the page, for whoever reads this test's output.
fn how_soon_it_is_painted(visit: &Visit) {
    for path in ["/", "/alarms", "/batches", "/holds", "/reports"] {
        visit.open(path);
        let told = wait("a first paint", || {
            let told = visit.browser.run(
                "const paint = performance.getEntriesByName('first-contentful-paint')[0]; \
                 const bytes = performance.getEntriesByType('resource').concat(performance.getEntriesByType('navigation')) \
                 .reduce((sum, own) => sum + (own.encodedBodySize || 0), 0); \
                 return paint ? [Math.round(paint.startTime), bytes] : null;",
            );
            (!told.is_null()).then_some(told)
        });
        println!(
            "{path}: first paint after {} ms, {} bytes in all",
            told[0], told[1]
        );
    }
}

fn a_recipe_is_tuned_for_and_locked(visit: &Visit) {
    let browser = &visit.browser;
    visit.open("/tune");
    browser.find("form[action='/do/tune'] button").press();
    browser.wait_for("h1", "through Long dryer");
    visit.access.check(browser, "the answer of a tuning");
    browser.picture(&driver::pictures().join("tuned-tablet-light.png"));
    visit.open("/recipes");
    browser.find("details summary").press();
    let by = browser.find("form[action='/do/lock-recipe'] input[name=by]");
    by.clear();
    by.types("Mara");
    browser
        .find("form[action='/do/lock-recipe'] button")
        .press();
    let main = browser.wait_for("main", "Recipe 1");
    assert!(main.contains("zone-2") && main.contains("Mara"), "{main}");
}

fn the_batch_is_closed(visit: &Visit) {
    let browser = &visit.browser;
    visit.open("/batches/1");
    let by = browser.find("form[action='/do/close-batch'] input[name=by]");
    by.clear();
    by.types("Mara");
    browser
        .find("form[action='/do/close-batch'] button")
        .press();
    wait("a closed batch", || {
        let facts = browser.text(".facts");
        (facts.contains("Closed") && !facts.contains("it is open")).then_some(())
    });
    visit.open("/reports");
    browser.wait_for("main", "cured");
}
