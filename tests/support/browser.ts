/** A browser without a window, for reports: Debian's Chromium, driven over its own protocol. */
import { existsSync } from 'node:fs';
import { chromium, type Browser } from 'playwright-core';

/** Where Debian and its kin put it. */
const PROGRAMS = ['/usr/bin/chromium', '/usr/bin/chromium-browser'];

/**
 * Starts the browser, or says that there is none: null after a message where CI is not set.
 *
 * @throws Error when CI is set and there is none: CI installs it
 */
export async function startBrowser(): Promise<Browser | null> {
  const program = PROGRAMS.find((each) => existsSync(each));
  if (program === undefined) {
    const missing = `no browser at ${PROGRAMS.join(' or ')} (Debian: apt install chromium)`;
    if (process.env['CI']) throw new Error(`CI must have a browser: ${missing}`);
    process.stderr.write(`skipped: reports were not opened: ${missing}\n`);
    return null;
  }
  // Its sandbox needs rights that a container does not give; what is opened here we made ourselves.
  return chromium.launch({ executablePath: program, args: ['--no-sandbox'] });
}
