/** The command line, built from the table in `options.ts`. */

import { Command, CommanderError, Option } from 'commander';
import { Failure } from './failures.js';
import { COMMANDS, type CommandSpec, FLIGHT_HELP, OPTIONS, type OptionValues } from './options.js';
import { startProgress, type Progress } from './terminal.js';

type Action = (operands: readonly string[], options: OptionValues, progress: Progress) => Promise<void>;

/** Loaded by name when called, so that help needs no analysis. */
const ACTIONS: Readonly<Record<CommandSpec['name'], () => Promise<Action>>> = {
  inspect: async () => (await import('./commands/inspect.js')).inspect,
  diagnose: async () => (await import('./commands/diagnose.js')).diagnose,
  notch: async () => (await import('./commands/notch.js')).notch,
};

const EXIT_HELP = `
Exit status: 0 analysed; 2 bad usage or unreadable input; 3 the log cannot support the analysis; 1 a defect.
Turning props injure: whatever a report says, test in the open with everyone well clear.`;

function addCommand(program: Command, spec: CommandSpec): void {
  const command = program
    .command(spec.name)
    .summary(spec.summary)
    .description(`Settle ${spec.name}: ${spec.summary}.\n${FLIGHT_HELP}`)
    .argument('<flight...>', spec.operands)
    .usage(`${spec.operands} [options]`)
    .addHelpText('after', `\nExample: ${spec.example}`);
  for (const key of spec.options) {
    const { flags, description, parse } = OPTIONS[key];
    const option = new Option(flags.replace(/ (\w+)$/, ' <$1>'), description);
    command.addOption(parse === undefined ? option : option.argParser(parse));
  }
  command.action(async (operands: string[], options: OptionValues) => {
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

export function buildProgram(version: string): Command {
  const program = new Command('settle')
    .description('Reads CSV logs of a test hover and says what wobbles.')
    .version(version, '--version', 'print the version')
    .helpOption('--help', 'print this help')
    .helpCommand(false)
    .exitOverride()
    .showSuggestionAfterError()
    .configureHelp({
      optionTerm: (option) => option.flags.replace(/[<>]/g, ''),
      subcommandTerm: (command) => command.name(),
      // The usage line names the operands already.
      visibleArguments: () => [],
    })
    .addHelpText('after', EXIT_HELP)
    // Errors are printed by the entry point, in one shape for all of them.
    .configureOutput({ writeErr: () => undefined });
  for (const spec of COMMANDS) addCommand(program, spec);
  return program;
}

/** A mistake on the command line, as commander found it, in our words; null when it only printed help or version. */
export function usageFailure(error: CommanderError): Failure | null {
  if (error.exitCode === 0) return null;
  if (error.code === 'commander.help') return new Failure('no command is given', 'settle --help lists them');
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
