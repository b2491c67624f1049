// Package rates learns a technician's own pace from finished jobs and forecasts hours with an honest range.
//
// In: finished jobs (how much of each part of the work there was, and the minutes it took, in all or part by part) and a prior. Out:
// minutes a unit for every part, a forecast with a range for the next job, jobs whose figure cannot be right, and how often past
// forecasts held.
//
//	r, err := rates.Fit(jobs, rates.DefaultPrior())
//	f := r.Forecast(rates.Sizes{rates.SetUp: 1, rates.Raise: 12, rates.Finish: 40}, 0.8)
//
// Model: minutes = sum over parts of units x rate, times noise that grows with the job. Bayesian linear regression with the conjugate
// normal-inverse-gamma prior [GelmanBDA], rows scaled by the forecast. Limits: rates do not change over time; a job worked by two
// people counts its minutes twice. docs/method/hours.md tells the rest.
package rates
