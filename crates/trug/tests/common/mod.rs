//! Running the program, and a kitchen small enough to reckon by hand.
#![allow(dead_code, reason = "each test file uses its own part of this")]

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};

/// What a run of the program gave.
pub(crate) struct Ran {
    /// The exit status.
    pub(crate) code: i32,
    /// Standard output.
    pub(crate) out: String,
    /// Standard error.
    pub(crate) err: String,
}

/// Runs the program with those arguments and that input.
pub(crate) fn trug(args: &[&str], input: &[u8]) -> Ran {
    let mut child = Command::new(env!("CARGO_BIN_EXE_trug"))
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let input = input.to_vec();
    let writer = std::thread::spawn(move || {
        // The program may well end without reading.
        let _ = stdin.write_all(&input);
    });
    let output = child.wait_with_output().unwrap();
    writer.join().unwrap();
    Ran {
        code: output.status.code().unwrap(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// The demo kitchen.
pub(crate) fn demo() -> &'static str {
    concat!(env!("CARGO_MANIFEST_DIR"), "/../../demo-data")
}

/// A folder of its own, gone when the test is over.
pub(crate) struct Folder(PathBuf);

impl Folder {
    /// A folder with those files.
    pub(crate) fn with(files: &[(&str, &str)]) -> Self {
        static NEXT: AtomicU32 = AtomicU32::new(0);
        let name = format!("kitchen-{}-{}", std::process::id(), NEXT.fetch_add(1, Ordering::Relaxed));
        let folder = Self(Path::new(env!("CARGO_TARGET_TMPDIR")).join(name));
        fs::create_dir_all(&folder.0).unwrap();
        for (path, text) in files {
            folder.write(path, text);
        }
        folder
    }

    /// Writes a file into it.
    pub(crate) fn write(&self, path: &str, text: &str) {
        let path = self.0.join(path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }

    /// Its path.
    pub(crate) fn path(&self) -> &str {
        self.0.to_str().unwrap()
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// Two households, one dish, six foods with figures of their own, so that nothing hangs on the catalogue:
///
/// - moonbean: 2 cups of 200 g, for 4 of 4 and 2 of 4 portions: 400 + 200 g; 100 g in the mill's pantry; 500 g are two
///   packs of 250 g at 1.50 (a 400 g pack at 2.10 and one of 250 g would be 3.60): 3.00, shared 300 to 200.
/// - starroot: 1 lb as purchased, 1.5 lb in all, loose at 2.00: 3.00, shared 2 to 1; 80 % of it edible.
/// - harbor paste: without an amount, and with peanuts, which Ada must not have.
/// - green salt: 1.5 tsp of 6 g from the kit, which has enough.
/// - rareleaf: 3 tbsp of 3 g, no price; pack of 20 g; in a section whose name would be a formula.
/// - rind: a food nobody has described; optional, 1.5 slices.
pub(crate) fn small() -> Folder {
    Folder::with(&[
        ("kitchen.toml", "name = \"Nell Harrow\"\nkit = \"kit\"\nstore = \"dockside\"\n"),
        (
            "households/mill.toml",
            "name = \"The Mill\"\nshort = \"M\"\nbudget = \"3.50\"\npantry = \"mill\"\n\
             [[diner]]\nname = \"Ada\"\nallergies = [\"peanuts\"]\n\
             [[diner]]\nname = \"Bo\"\navoid = [\"moonbean\"]\n",
        ),
        ("households/pier.toml", "name = \"The Pier\"\n[[diner]]\nname = \"Cy\"\nportion = 2\n"),
        (
            "dishes/soup.md",
            "# Pier soup\n\nServes 4\n\n## Ingredients\n\n- 2 cups moonbeans\n- 1 lb starroot, peeled\n\
             - Harbor paste, to taste\n- 1 tsp green salt\n- 2 tbsp rareleaf\n- 1 slice rind (optional)\n\n\
             ## Method\n\nSimmer.\n",
        ),
        (
            "weeks/w1.toml",
            "[[service]]\nhousehold = \"mill\"\nshop = 2026-03-04\ncook = 2026-03-05\n\
             [[service.dish]]\ndish = \"soup\"\nmeals = 2\n\
             [[service]]\nhousehold = \"pier\"\nshop = 2026-03-04\ncook = 2026-03-05\n\
             [[service.dish]]\ndish = \"soup\"\nportions = 2\n",
        ),
        ("stores/dockside.toml", "name = \"Dockside Stores\"\nsections = [\"produce\", \"canned\", \"spices\"]\n"),
        (
            "prices.csv",
            "food,store,sold,size,price,on\nmoonbean,dockside,pack,250 g,1.50,2026-02-01\n\
             moonbean,dockside,pack,400 g,2.10,2026-02-01\nstarroot,dockside,loose,1 lb,2.00,2026-02-01\n",
        ),
        ("pantries/mill.csv", "food,amount,keep,use_by\nmoonbean,100 g,ambient,2026-12-01\n"),
        ("pantries/kit.csv", "food,amount,keep,use_by\ngreen salt,,ambient,\n"),
        (
            "foods.toml",
            "[food.moonbean]\nname = \"moonbean\"\nplural = \"moonbeans\"\nsection = \"canned\"\ngrams = { cup = 200 }\n\
             refuse = 0\nallergens = []\n\
             [food.starroot]\nname = \"starroot\"\nsection = \"produce\"\nrefuse = 20\nallergens = []\n\
             [food.harbor-paste]\nname = \"harbor paste\"\nsection = \"canned\"\nrefuse = 0\nallergens = [\"peanut\"]\n\
             [food.green-salt]\nname = \"green salt\"\nsection = \"spices\"\ngrams = { tsp = 6 }\nrefuse = 0\nallergens = []\n\
             [food.rareleaf]\nname = \"rareleaf\"\nsection = \"=1+1\"\ngrams = { tbsp = 3 }\nrefuse = 0\n\
             allergens = []\npacks = [\"20 g\"]\n",
        ),
    ])
}

/// A kitchen in which nothing is wrong.
pub(crate) fn clean() -> Folder {
    let folder = small();
    folder.write("households/mill.toml", "name = \"The Mill\"\npantry = \"mill\"\n[[diner]]\nname = \"Ada\"\n");
    folder.write(
        "dishes/soup.md",
        "# Pier soup\n\nServes 4\n\n## Ingredients\n\n- 2 cups moonbeans\n\n## Method\n\nSimmer.\n",
    );
    folder
}
