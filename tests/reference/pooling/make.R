# Reference values for pooling, from metafor. Run from this folder: Rscript make.R ; writes values.csv.
# bcg: the 13 BCG vaccine trials (Colditz et al. 1994) as shipped with metafor (dat.bcg).
# invented: six log ratios that agree more closely than their standard errors allow for.
suppressMessages(library(metafor))
rows <- list()
put <- function(case, method, quantity, value)
  rows[[length(rows) + 1]] <<- data.frame(case, method, quantity, value = sprintf("%.12g", value))
bcg <- escalc(measure = "RR", ai = tpos, bi = tneg, ci = cpos, di = cneg, data = dat.bcg)
invented <- data.frame(yi = c(-0.60, -0.52, -0.71, -0.45, -0.66, -0.58),
                       vi = c(0.20, 0.35, 0.28, 0.22, 0.40, 0.31)^2)
control <- list(threshold = 1e-13, maxiter = 10000, tol = 1e-13)
for (case in c("bcg", "invented")) for (method in c("REML", "PM", "DL")) {
  data <- get(case)
  ctl <- if (method == "REML") list(threshold = 1e-13, maxiter = 10000) else
    if (method == "PM") list(tol = 1e-13, maxiter = 10000) else list()
  fit <- function(d, ...) rma(yi, vi, data = d, method = method, test = "knha", control = ctl, ...)
  f <- fit(data)
  put(case, method, "estimate", coef(f)); put(case, method, "se", f$se)
  put(case, method, "low", f$ci.lb); put(case, method, "high", f$ci.ub)
  put(case, method, "tau2", f$tau2); put(case, method, "q", f$QE); put(case, method, "q_p", f$QEp)
  put(case, method, "i2", f$I2)
  ordinary <- rma(yi, vi, data = data, method = method, control = ctl)
  put(case, method, "ordinary_low", ordinary$ci.lb)
  put(case, method, "ordinary_high", ordinary$ci.ub)
  p <- predict(f)
  put(case, method, "prediction_low", p$pi.lb); put(case, method, "prediction_high", p$pi.ub)
  ci <- confint(f, control = list(tol = 1e-12, tau2.max = 1000))$random
  put(case, method, "i2_low", ci["I^2(%)", "ci.lb"]); put(case, method, "i2_high", ci["I^2(%)", "ci.ub"])
  for (i in seq_len(nrow(data))) {
    g <- fit(data[-i, ])
    put(case, method, paste0("without_", i, "_estimate"), coef(g))
    put(case, method, paste0("without_", i, "_low"), g$ci.lb)
    put(case, method, paste0("without_", i, "_tau2"), g$tau2)
  }
  for (i in 2:nrow(data)) {
    g <- fit(data[seq_len(i), ])
    put(case, method, paste0("first_", i, "_estimate"), coef(g))
    put(case, method, paste0("first_", i, "_low"), g$ci.lb)
  }
}
write.csv(do.call(rbind, rows), "values.csv", row.names = FALSE, quote = FALSE)
writeLines(c(R.version.string, paste("metafor", packageVersion("metafor"))), "versions.txt")
