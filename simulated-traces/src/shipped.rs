//! The scenarios that ship, in the program itself: the samples', and one with every key explained.

use inkdwell_config::problem::Problem;
use inkdwell_config::shop::Shop;

use crate::scenario::Scenario;

/// The shop file of everything that ships.
pub const SHOP: &str = include_str!("../samples/shop.toml");

/// A scenario file in which every key is explained: a start for one's own.
pub const EXAMPLE: &str = include_str!("../example.scenario.toml");

/// A scenario that ships.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shipped {
    /// Its name.
    pub name: &'static str,
    /// Its file.
    pub text: &'static str,
}

/// All of them, by name.
pub const SHIPPED: [Shipped; 17] = [
    Shipped {
        name: "cut-ride",
        text: include_str!("../samples/cut-ride.scenario.toml"),
    },
    Shipped {
        name: "dye-migration",
        text: include_str!("../samples/dye-migration.scenario.toml"),
    },
    Shipped {
        name: "exit-reference",
        text: include_str!("../samples/exit-reference.scenario.toml"),
    },
    Shipped {
        name: "exit-run",
        text: include_str!("../samples/exit-run.scenario.toml"),
    },
    Shipped {
        name: "fahrenheit",
        text: include_str!("../samples/fahrenheit.scenario.toml"),
    },
    Shipped {
        name: "five-prints",
        text: include_str!("../samples/five-prints.scenario.toml"),
    },
    Shipped {
        name: "flash",
        text: include_str!("../samples/flash.scenario.toml"),
    },
    Shipped {
        name: "gap-ride",
        text: include_str!("../samples/gap-ride.scenario.toml"),
    },
    Shipped {
        name: "good-ride",
        text: include_str!("../samples/good-ride.scenario.toml"),
    },
    Shipped {
        name: "millivolts",
        text: include_str!("../samples/millivolts.scenario.toml"),
    },
    Shipped {
        name: "open-circuit",
        text: include_str!("../samples/open-circuit.scenario.toml"),
    },
    Shipped {
        name: "scorched",
        text: include_str!("../samples/scorched.scenario.toml"),
    },
    Shipped {
        name: "stuck-probe",
        text: include_str!("../samples/stuck-probe.scenario.toml"),
    },
    Shipped {
        name: "tune-fast",
        text: include_str!("../samples/tune-fast.scenario.toml"),
    },
    Shipped {
        name: "tune-middle",
        text: include_str!("../samples/tune-middle.scenario.toml"),
    },
    Shipped {
        name: "tune-slow",
        text: include_str!("../samples/tune-slow.scenario.toml"),
    },
    Shipped {
        name: "under-cured",
        text: include_str!("../samples/under-cured.scenario.toml"),
    },
];

impl Shipped {
    /// The scenario of that name.
    pub fn named(name: &str) -> Option<&'static Shipped> {
        SHIPPED.iter().find(|shipped| shipped.name == name)
    }

    /// Reads it, with another seed where one is given.
    ///
    /// # Errors
    /// What is wrong in it, which a test rules out.
    pub fn scenario(&self, seed: Option<u64>) -> Result<Scenario, Vec<Problem>> {
        let shop = Shop::parse("shop.toml", SHOP).value;
        let file = format!("{}.scenario.toml", self.name);
        match seed {
            Some(seed) => Scenario::parse_with_seed(&file, self.text, &shop, seed),
            None => Scenario::parse(&file, self.text, &shop),
        }
    }
}
