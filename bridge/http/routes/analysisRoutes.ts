import { HttpProblem } from '../problem.ts'
import type { RouteContext } from './routeContext.ts'

/** What is worked out from runs: results, comparison, advice, sheet, exports. */
export function addAnalysisRoutes({ app }: RouteContext): void {
  const missing = async () => {
    throw new HttpProblem(501, 'not_built_in', 'this build cannot analyse runs')
  }
  app.get('/api/runs/:car/:session/:file/result', missing)
  app.get('/api/runs/:car/:session/:file/report', missing)
  app.get('/api/runs/:car/:session/:file/export', missing)
  app.post('/api/compare', missing)
  app.post('/api/advise', missing)
}
