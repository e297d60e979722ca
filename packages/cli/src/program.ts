/** The command line, built from the table in `options.ts`. */

import { Command, CommanderError, Option } from 'commander';
import { Failure } from './failures.js';
import {
  COMMANDS,
  type CommandSpec,
  FAMILIES,
  FLIGHT_HELP,
  FLIGHTS_HELP,
  OPTIONS,
  type OptionKey,
  type OptionValues,
  RECORD_HELP,
} from './options.js';
import { startProgress, type Progress } from './terminal.js';

type Action = (operands: readonly string[], options: OptionValues, progress: Progress) => Promise<void>;

/** Loaded by name when called, so that help needs no analysis. */
const ACTIONS: Readonly<Record<CommandSpec['name'], () => Promise<Action>>> = {
  inspect: async () => (await import('./commands/inspect.js')).inspect,
  diagnose: async () => (await import('./commands/diagnose.js')).diagnose,
  notch: async () => (await import('./commands/notch.js')).notch,
  compare: async () => (await import('./commands/compare.js')).compare,
  'record add': async () => (await import('./commands/record-add.js')).recordAdd,
  'record list': async () => (await import('./commands/record-list.js')).recordList,
  'record show': async () => (await import('./commands/record-show.js')).recordShow,
};

const EXIT_HELP = `
Exit status: 0 analysed; 2 bad usage or unreadable input; 3 the log cannot support the analysis; 1 a defect.
Turning props injure: whatever a report says, test in the open with everyone well clear.`;

/** The lines that say what the operands are. */
function operandHelp({ takes, operands }: CommandSpec): string {
  const flights = operands.includes('FLIGHT FLIGHT') ? [FLIGHTS_HELP] : [FLIGHT_HELP];
  const lines = [takes === 'record' ? [RECORD_HELP] : [], operands.includes('FLIGHT') ? flights : []];
  return lines.flat().join('\n');
}

function optionOf(key: OptionKey): Option {
  const { flags, description, parse, repeats } = OPTIONS[key];
  const option = new Option(flags.replace(/ (\w+)$/, ' <$1>'), description);
  if (repeats === true)
    return option.argParser((text, earlier: readonly string[] = []) => [...earlier, text]);
  return parse === undefined ? option : option.argParser(parse);
}

/** The command that holds those of two words, made when the first of them is added. */
function familyOf(program: Command, name: string): Command {
  const made = program.commands.find((command) => command.name() === name);
  if (made !== undefined) return made;
  const summary = FAMILIES[name] ?? '';
  return inOurShape(program.command(name))
    .summary(summary)
    .description(`Settle ${name}: ${summary}.`)
    .argument('[command...]')
    .usage('COMMAND …')
    .action((words: readonly string[]) => {
      throw unknownMember(name, words[0]);
    });
}

/** What is wrong when the second word is missing, or is none of the family's. */
function unknownMember(family: string, word: string | undefined): Failure {
  const next = `settle ${family} --help lists them`;
  if (word === undefined) return new Failure(`which command of ${family} is not said`, next);
  const members = COMMANDS.map(({ name }) => name.split(' ')).filter(([first]) => first === family);
  const near = members.find(([, second]) => second!.startsWith(word[0]!) || word.includes(second!));
  const hint = near === undefined ? '' : ` (did you mean ${near.join(' ')}?)`;
  return new Failure(`${family} ${word} is no command${hint}`, next);
}

function addCommand(program: Command, spec: CommandSpec): void {
  const [first, second] = spec.name.split(' ');
  const parent = second === undefined ? program : familyOf(program, first!);
  const command = inOurShape(parent.command(second ?? first!))
    .summary(spec.summary)
    .description(`Settle ${spec.name}: ${spec.summary}.\n${operandHelp(spec)}`)
    .argument(spec.name === 'compare' ? '[flight...]' : `<${spec.takes}...>`, spec.operands)
    .usage(`${spec.operands} [options]`)
    .addHelpText('after', `\nExample: ${spec.example}`);
  for (const key of spec.options) command.addOption(optionOf(key));
  command.action(async (operands: string[], given: OptionValues) => {
    const options = spec.options.includes('gainsOfEach') ? withGainsOfEach(given) : given;
    if (spec.name === 'inspect' && operands.length > 1) {
      throw new Failure(
        `inspect takes one FLIGHT, not ${operands.length}`,
        'put the files of the flight into one directory and give that',
      );
    }
    const progress = startProgress(options.quiet === true);
    try {
      await (
        await ACTIONS[spec.name]()
      )(operands, options, progress);
    } finally {
      progress.clear();
    }
  });
}

/** The flag is one for all commands; several flights have several files behind it. */
function withGainsOfEach({ gains, ...others }: OptionValues): OptionValues {
  const files = gains as unknown as readonly string[] | undefined;
  return files === undefined ? others : { ...others, gainsOfEach: files };
}

function inOurShape(command: Command): Command {
  return (
    command
      .helpOption('--help', 'print this help')
      .helpCommand(false)
      .exitOverride()
      .showSuggestionAfterError()
      .configureHelp({
        optionTerm: (option) => option.flags.replace(/[<>]/g, ''),
        subcommandTerm: (each) => each.name(),
        // The usage line names the operands already.
        visibleArguments: () => [],
      })
      // Errors are printed by the entry point, in one shape for all of them.
      .configureOutput({ writeErr: () => undefined })
  );
}

export function buildProgram(version: string): Command {
  const program = inOurShape(new Command('settle'))
    .description('Reads CSV logs of a test hover and says what wobbles.')
    .version(version, '--version', 'print the version')
    .addHelpText('after', EXIT_HELP);
  for (const spec of COMMANDS) addCommand(program, spec);
  return program;
}

/** A mistake on the command line, as commander found it, in our words; null when it only printed help or version. */
export function usageFailure(error: CommanderError): Failure | null {
  if (error.exitCode === 0) return null;
  if (error.code === 'commander.help') return new Failure('no command is given', 'settle --help lists them');
  if (error.code === 'commander.missingArgument' && error.message.includes("'record'")) {
    return new Failure('no tuning record is given', 'name its file, such as samphire.json');
  }
  if (error.code === 'commander.missingArgument') {
    return new Failure(
      'no flight is given',
      'name a CSV file, or a directory that holds the CSV files of one flight',
    );
  }
  const message = error.message
    .replace(/^error: /, '')
    .replace(/<(\w+)>/g, '$1')
    .replace(/\n\(?Did you mean (.*?)\?\)?$/s, ' (did you mean $1?)');
  return new Failure(message, 'settle --help shows what can be given');
}
