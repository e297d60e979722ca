/** The heavy packages, loaded when a command needs them: `--version` and `--help` answer without. */

export async function loadParser(): Promise<typeof import('@settle/parser')> {
  return import('@settle/parser');
}

export async function loadAnalysis(): Promise<typeof import('@settle/analysis')> {
  return import('@settle/analysis');
}

export async function loadReport(): Promise<typeof import('@settle/report')> {
  return import('@settle/report');
}
