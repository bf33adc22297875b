# Yates' oats as twelve treatments, each nested in the whole plots of its variety: whole, with five
# plots lost, and with unequal numbers of treatments to a whole plot. Differences from one treatment
# and the F test of all. Run from the repository's root:
#   Rscript tests/reference/split_plot_nested/make.R
# Writes values.csv and versions.txt.
suppressMessages({library(lme4); library(emmeans); library(pbkrtest)})
here <- "tests/reference/split_plot_nested"
oats <- MASS::oats
oats$N <- sub("cwt", "", oats$N)
oats$treatment <- factor(paste(oats$V, oats$N, sep = "_"))
out <- data.frame()
put <- function(case, quantity, value)
  out <<- rbind(out, data.frame(case = case, quantity = quantity, value = sprintf("%.15g", value)))
run <- function(case, d) {
  d <- droplevels(d)
  exact <- lmerControl(optCtrl = list(ftol_abs = 1e-14, xtol_abs = 1e-14))
  fit <- lmer(Y ~ treatment + (1 | B) + (1 | B:V), d, control = exact)
  means <- emmeans(fit, ~ treatment, lmer.df = "kenward-roger")
  s <- summary(contrast(means, "trt.vs.ctrl", ref = which(levels(d$treatment) == "Victory_0.0"),
                        adjust = "none"))
  for (i in seq_len(nrow(s))) {
    label <- sub(" - .*", "", s$contrast[i])
    put(case, paste(label, "estimate", sep = "|"), s$estimate[i])
    put(case, paste(label, "se", sep = "|"), s$SE[i])
    put(case, paste(label, "df", sep = "|"), s$df[i])
  }
  test <- KRmodcomp(fit, update(fit, . ~ . - treatment))$stats
  put(case, "test|F", test$Fstat)
  put(case, "test|df2", test$ddf)
}
run("oats", oats)
run("oats_lost_plots", oats[-(c(2, 16, 17, 39, 65) + 1), ])
run("oats_unequal", subset(oats, V == "Marvellous" | N == "0.0" | (V == "Golden.rain" & N == "0.4")))
write.csv(out, file.path(here, "values.csv"), row.names = FALSE, quote = TRUE)
versions <- c(R.version.string, sapply(c("lme4", "emmeans", "pbkrtest", "MASS"), function(p)
  paste(p, packageVersion(p))))
writeLines(versions, file.path(here, "versions.txt"))
