// The operator's command line: words and quoted texts, checked arguments, readable errors.
// Demo only: switching real machinery needs its own review by licensed people under local codes.
// Input: invented demo data.
// Run: scruple run samples/marrow-brook/command_line.js
// Prints: command_line.out

const station = {
  name: "Marrow Brook",
  travel: 0,
  marks: { high: 2200, low: 300 },
  notes: []
};

function UsageError(message) {
  this.message = message;
}

UsageError.prototype = Object.create(Error.prototype);
UsageError.prototype.name = "UsageError";

// Splits at spaces; double quotes hold a text together; \" is a quote within one.
function wordsOf(line) {
  const words = [];
  let i = 0;
  scan: while (i < line.length) {
    switch (line.charAt(i)) {
      case " ":
      case "\t":
        i++;
        break;
      case "#":
        break scan;
      case "\"": {
        let text = "";
        i++;
        while (line.charAt(i) !== "\"") {
          if (i >= line.length) {
            throw new UsageError("the quote is not closed");
          }
          if (line.charAt(i) === "\\") {
            i++;
          }
          text += line.charAt(i++);
        }
        i++;
        words.push(text);
        break;
      }
      default: {
        const start = i;
        while (i < line.length && " \t\"#".indexOf(line.charAt(i)) < 0) {
          i++;
        }
        words.push(line.slice(start, i));
      }
    }
  }
  return words;
}

function wholeNumber(word, least, most) {
  const number = Number(word);
  if (word === undefined || word.trim() === "" || Math.floor(number) !== number) {
    throw new UsageError(`"${word}" is not a whole number`);
  }
  if (number < least || number > most) {
    throw new UsageError(`${number} is not within ${least} and ${most}`);
  }
  return number;
}

const commands = {
  gate: function (words) {
    const travel = wholeNumber(words[0], 0, 100);
    const change = travel - station.travel;
    station.travel = travel;
    return change === 0 ? "gate stays" : `gate ${change > 0 ? "opens" : "shuts"} to ${travel} %`;
  },
  mark: function (words) {
    if (!(words[0] in station.marks)) {
      throw new UsageError("marks are " + Object.keys(station.marks).join(", "));
    }
    station.marks[words[0]] = wholeNumber(words[1], -500, 4000);
    return `${words[0]} mark ${station.marks[words[0]]} mm`;
  },
  note: function (words) {
    return "note " + station.notes.push(words.join(" "));
  },
  forget: function (words) {
    const index = wholeNumber(words[0], 1, station.notes.length) - 1;
    return "forgot: " + station.notes.splice(index, 1)[0];
  },
  status: function () {
    const parts = [`${station.name}: gate ${station.travel} %`];
    for (const name in station.marks) {
      parts.push(`${name} ${station.marks[name]}`);
    }
    return parts.concat(station.notes).join("; ");
  }
};

function run(line) {
  const words = wordsOf(line);
  if (words.length === 0) {
    return "";
  }
  const name = words.shift().toLowerCase();
  if (!commands.hasOwnProperty(name)) {
    throw new UsageError(`no command "${name}"; there are ${Object.keys(commands).sort().join(", ")}`);
  }
  return commands[name](words);
}

function perform(line) {
  let errors = 0;
  let answer;
  try {
    answer = run(line);
  } catch (error) {
    errors++;
    answer = `${error.name}: ${error.message}`;
  } finally {
    console.log("> " + line);
  }
  if (answer !== "") {
    console.log(answer);
  }
  return errors;
}

const lines = [
  "status",
  "  GATE 40   # a little",
  "gate 40",
  "gate 12.5",
  "gate",
  "gate 0x1e",
  "mark high 2350",
  "mark middle 3",
  "mark low -900",
  "note \"grease the \\\"upper\\\" hinge\" on Monday",
  "note bring a lamp",
  "note \"never closed",
  "forget 3",
  "forget 2",
  "# nothing here",
  "dredge",
  "gate \"\"",
  "status"
];

const errors = lines.map(perform).reduce((sum, count) => sum + count, 0);
console.log(`${lines.length} lines, ${errors} errors`);
