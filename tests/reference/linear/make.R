# Reference values for the linear models of one site-season. Run from the repository's root:
#   Rscript tests/reference/linear/make.R
# Data are invented (cases.csv, made by export.py) except oats. Writes values.csv and versions.txt.
suppressMessages({library(car); library(emmeans); library(multcomp)})
options(contrasts = c("contr.sum", "contr.poly"), digits = 15)
here <- "tests/reference/linear"
cases <- read.csv(file.path(here, "cases.csv"), colClasses = "character")
cases$y <- as.numeric(cases$y)
out <- data.frame()
put <- function(case, quantity, value)
  out <<- rbind(out, data.frame(case = case, quantity = quantity, value = sprintf("%.15g", value)))
of <- function(case) {
  d <- cases[cases$case == case, ]
  d <- d[!is.na(d$y), ]
  for (f in c("block", "row", "column", "whole_plot", "treatment"))
    d[[f]] <- factor(d[[f]])
  d
}
put_anova <- function(case, table, prefix) {
  for (term in setdiff(rownames(table), c("(Intercept)", "Residuals")))
    for (col in intersect(c("Sum Sq", "Df", "F value", "Pr(>F)"), colnames(table)))
      put(case, paste(prefix, term, col, sep = "|"), table[term, col])
}
put_means <- function(case, m) {
  s <- summary(m)
  for (i in seq_len(nrow(s))) {
    put(case, paste("mean", s$treatment[i], sep = "|"), s$emmean[i])
    put(case, paste("se", s$treatment[i], sep = "|"), s$SE[i])
    put(case, paste("df", s$treatment[i], sep = "|"), s$df[i])
  }
  p <- summary(pairs(m, adjust = "none", reverse = TRUE))
  for (i in seq_len(nrow(p))) {
    put(case, paste("difference", p$contrast[i], sep = "|"), p$estimate[i])
    put(case, paste("difference_se", p$contrast[i], sep = "|"), p$SE[i])
    put(case, paste("difference_p", p$contrast[i], sep = "|"), p$p.value[i])
  }
}
put_adjusted <- function(case, fit, alternatives = c("Dunnett", "Tukey")) {
  for (kind in alternatives) {
    set.seed(1)
    s <- summary(glht(fit, linfct = mcp(treatment = kind)),
                 test = adjusted("single-step", maxpts = 5e6, abseps = 1e-6, releps = 0))
    for (n in names(s$test$coefficients))
      put(case, paste(kind, n, sep = "|"), s$test$pvalues[which(names(s$test$coefficients) == n)])
  }
}
for (case in c("crd", "rcbd", "rcbd_lost", "latin", "latin_lost")) {
  d <- of(case)
  right <- switch(sub("_lost", "", case), crd = "treatment", rcbd = "block + treatment",
                  latin = "row + column + treatment")
  fit <- lm(as.formula(paste("y ~", right)), d)
  put(case, "mse", summary(fit)$sigma^2)
  put_anova(case, as.data.frame(Anova(fit, type = 2)), "II")
  put_anova(case, as.data.frame(Anova(fit, type = 3)), "III")
  put_means(case, emmeans(fit, "treatment"))
  contr <- fit$model; contrasts(contr$treatment) <- "contr.treatment"
  put_adjusted(case, lm(formula(fit), contr))
  put(case, "shapiro", shapiro.test(rstandard(fit))$p.value)
  put(case, "brown_forsythe",
      leveneTest(residuals(fit), d$treatment, center = median)[1, "Pr(>F)"])
  q <- residuals(lm(update(formula(fit), fitted(fit)^2 ~ .), d))
  put(case, "tukey_non_additivity", anova(lm(residuals(fit) ~ q - 1))[1, "Sum Sq"])
}
d <- of("factorial")
fit <- lm(y ~ block + whole_plot * treatment, d)
put_anova("factorial", as.data.frame(Anova(fit, type = 2)), "II")
put_anova("factorial", as.data.frame(Anova(fit, type = 3)), "III")
put_means("factorial", suppressMessages(emmeans(fit, "treatment")))
oats <- MASS::oats
m <- lme4::lmer(Y ~ V * N + (1 | B) + (1 | B:V), oats)
s <- suppressMessages(summary(emmeans(m, "N")))
for (i in seq_len(nrow(s))) {
  put("oats", paste("mean", s$N[i], sep = "|"), s$emmean[i])
  put("oats", paste("se", s$N[i], sep = "|"), s$SE[i])
  put("oats", paste("df", s$N[i], sep = "|"), s$df[i])
}
# Noncentral intervals by uniroot on R's own distribution functions.
nct <- function(t, df, p) uniroot(function(n) pt(t, df, n) - p, c(-36, 36), tol = 1e-13)$root
ncf <- function(F, a, b, p) if (pf(F, a, b) < p) 0 else
  uniroot(function(n) pf(F, a, b, n) - p, c(0, 5000), tol = 1e-12)$root
for (x in list(c(4, 8), c(0.5, 3), c(-3, 12), c(10, 60)))
  for (p in c(.975, .025)) put("noncentral_t", paste(x[1], x[2], p, sep = "|"), nct(x[1], x[2], p))
for (x in list(c(5, 4, 50), c(3.5, 4, 12), c(0.8, 4, 12), c(30, 2, 8)))
  for (p in c(.975, .025))
    put("noncentral_f", paste(x[1], x[2], x[3], p, sep = "|"), ncf(x[1], x[2], x[3], p))
write.csv(out, file.path(here, "values.csv"), row.names = FALSE, quote = FALSE)
v <- c(R.version.string, sapply(c("car", "emmeans", "multcomp", "mvtnorm", "lme4", "pbkrtest"),
       function(p) paste(p, packageVersion(p))))
writeLines(v, file.path(here, "versions.txt"))
